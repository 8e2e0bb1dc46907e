"""Whether something happens oftener at one site than at the others together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import hypergeom

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class EntryShare:
    """All (sites,): share at the site, its ratio to the share at the others, and p of as many or more by chance."""

    share: Floats
    ratio: Floats
    p: Floats


def against_the_others(count: ArrayLike, of: ArrayLike) -> EntryShare:
    """Fisher's exact test of each site's count against the other sites together, one-sided.

    Shapes   count, of: (sites,).
    Units    counts of rows or readings; share from 0 to 1.
    Missing  nan for a site of which nothing is counted; ratio is nan where the others show none of it, ratio and p
             where there are no others.
    Errors   ValueError for a count outside 0 to what it is out of.
    Source   Fisher (1935) The Design of Experiments, ch. II: the hypergeometric tail, given how many there are in all.
             Checked in tests/statistics/test_entry_share.py.
    """
    count, of = np.asarray(count, dtype=float), np.asarray(of, dtype=float)
    if np.any((count < 0) | (count > of)):
        i = int(np.argmax((count < 0) | (count > of)))
        raise ValueError(f"site {i}: {count[i]:g} of {of[i]:g}; a count lies between 0 and what it is out of")
    with np.errstate(divide="ignore", invalid="ignore"):
        share, elsewhere = count / of, (count.sum() - count) / (of.sum() - of)
        known = (of > 0) & (of < of.sum())
        p = hypergeom.sf(count - 1, of.sum(), count.sum(), of)
        return EntryShare(
            share, np.where(known & (elsewhere > 0), share / elsewhere, np.nan), np.where(known, p, np.nan)
        )
