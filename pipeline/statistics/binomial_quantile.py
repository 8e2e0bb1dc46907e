"""The whole-number quantile of a binomial distribution, for many sizes and shares at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, ndtri

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def binomial_quantile(probability: ArrayLike, n: ArrayLike, p: ArrayLike) -> Integers:
    """The smallest k with B(k; n, p) ≥ probability, B the distribution function.

    scipy.stats has the same, and costs most of a second to import.

    Shapes   all broadcast together.
    Units    n in whole people; probability and p from 0 to 1.
    Missing  n = 0 gives 0.
    Errors   none: shares are taken as given.
    Source   by definition; checked against scipy.stats.binom.ppf in tests/published/test_quantile_interval.py.
    """
    probability, n, p = np.broadcast_arrays(
        np.asarray(probability, dtype=float), np.asarray(n, dtype=np.int64), np.asarray(p, dtype=float)
    )
    found = np.where(p > 0, n, 0)
    is_inside = (p > 0) & (p < 1) & (n > 0)
    found[is_inside] = _stepped(probability[is_inside], n[is_inside], p[is_inside])
    return found


def _stepped(probability: Floats, n: Integers, p: Floats) -> Integers:
    """From a number near the quantile, whole number by whole number to it. Shapes: all (any,)."""
    k = _near(probability, n, p)
    asked = np.flatnonzero((k > 0) & (bdtr(np.maximum(k - 1, 0), n, p) >= probability))
    while asked.size:  # one less is enough there
        k[asked] -= 1
        at = asked[k[asked] > 0]
        asked = at[bdtr(k[at] - 1, n[at], p[at]) >= probability[at]]
    asked = np.flatnonzero(bdtr(k, n, p) < probability)
    while asked.size:  # and here more is needed
        k[asked] += 1
        asked = asked[bdtr(k[asked], n[asked], p[asked]) < probability[asked]]
    return k


def _near(probability: Floats, n: Integers, p: Floats) -> Integers:
    """The quantile to a step or two: a normal one mended for skewness, the first terms of Cornish and Fisher."""
    z = ndtri(probability)
    with np.errstate(invalid="ignore"):  # at probability 0 and 1
        near = n * p + z * np.sqrt(n * p * (1 - p)) + (z**2 - 1) * (1 - 2 * p) / 6 - 0.5
    return np.clip(np.ceil(np.nan_to_num(near)), 0, n).astype(np.int64)
