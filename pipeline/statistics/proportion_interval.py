"""Intervals for a proportion of people counted one by one: score (Wilson) and exact (Clopper–Pearson)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri

Floats = NDArray[np.float64]


def wilson_interval(
    count: ArrayLike, denominator: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Score interval for a prevalence, one interval a cell.

    Shapes   count, denominator, low, high: (cells,).
    Units    people in; proportions from 0 to 1 out, never percent.
    Missing  a cell with nobody measured gives (nan, nan).
    Errors   ValueError naming the first cell where 0 <= count <= denominator fails.
    Source   Wilson (1927) J Am Stat Assoc 22:209-212; Newcombe (1998) Stat Med 17:857-872,
             method 3. Checked in tests/published/test_wilson_interval.py.
    """
    count, denominator = _checked(count, denominator)
    n = np.where(denominator > 0, denominator, np.nan)
    z = ndtri((1 + confidence) / 2)
    centre = (count + z**2 / 2) / (n + z**2)
    half = z / (n + z**2) * np.sqrt(count * (1 - count / n) + z**2 / 4)
    low = np.where(count == 0, 0.0, centre - half)  # exactly 0 and 1 at the ends, not 1.4e-17
    high = np.where(count == denominator, 1.0, centre + half)
    return np.where(np.isnan(n), np.nan, low), np.where(np.isnan(n), np.nan, high)


def clopper_pearson_interval(
    count: ArrayLike, denominator: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact binomial interval for a proportion: coverage is never below the confidence asked for.

    Count and denominator may be fractional: an effective sample size takes the place of the people
    (Korn & Graubard 1998).

    Shapes   count, denominator, low, high: (cells,).
    Units    people in; proportions from 0 to 1 out, never percent.
    Missing  a cell with nobody measured gives (nan, nan).
    Errors   ValueError naming the first cell where 0 <= count <= denominator fails.
    Source   Clopper & Pearson (1934) Biometrika 26:404-413, as beta quantiles.
             Checked in tests/published/test_clopper_pearson.py.
    """
    count, denominator = _checked(count, denominator)
    tail = (1 - confidence) / 2
    is_empty, is_none, is_all = denominator == 0, count == 0, count == denominator
    low = betaincinv(np.where(is_none, 1.0, count), denominator - count + 1, tail)
    high = betaincinv(count + 1, np.where(is_all, 1.0, denominator - count), 1 - tail)
    low, high = np.where(is_none, 0.0, low), np.where(is_all, 1.0, high)
    return np.where(is_empty, np.nan, low), np.where(is_empty, np.nan, high)


def _checked(count: ArrayLike, denominator: ArrayLike) -> tuple[Floats, Floats]:
    count, denominator = np.asarray(count, dtype=float), np.asarray(denominator, dtype=float)
    bad = np.flatnonzero(~((count >= 0) & (count <= denominator)))
    if bad.size:
        i = bad[0]
        k, n = count.flat[i], np.broadcast_to(denominator, count.shape).flat[i]
        raise ValueError(
            f"cell {i}: {k:g} in the band of {n:g} measured; a count is 0 or more and cannot pass "
            "its denominator: look for a join that repeats people"
        )
    return count, denominator
