"""Sums of whole numbers by group, the same in any order: what many processors add up must not depend on them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

_HALF = 32  # bits


def exact_sums(group: Wholes, row: Wholes, terms: Wholes, groups: int) -> Floats:
    """The terms of each group's rows, added up and only then rounded to a float.

    Shapes   group, row: (people,), a group from 0 and a row of terms; terms (rows, terms); out (groups, terms).
    """
    sums = np.empty((groups, terms.shape[1]))
    most = int(np.bincount(group, minlength=1).max())
    for k, term in enumerate(terms.T):
        term = np.ascontiguousarray(term)
        if most * int(np.abs(term).max(initial=0)) < 2**63:
            sums[:, k] = _added(group, term[row], groups)
        else:  # in two halves, neither of which can pass a whole number's limit
            high, low = (_added(group, half[row], groups) for half in (term >> _HALF, term & (2**_HALF - 1)))
            sums[:, k] = high.astype(float) * 2.0**_HALF + low
    return sums


def _added(group: Wholes, figures: Wholes, groups: int) -> Wholes:
    sums = np.zeros(groups, dtype=np.int64)
    np.add.at(sums, group, figures)
    return sums
