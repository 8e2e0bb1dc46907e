"""Which of many sites stand out, when a stated share of those named may be named by chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def benjamini_hochberg(p: ArrayLike) -> Floats:
    """Adjusted p-values: a site is named at a false discovery rate q when its adjusted p is q or less.

    The i-th smallest p is adjusted to the least of p_(j)·m/j over j ≥ i, and at most 1.

    Shapes   p, out: (sites,).
    Units    p from 0 to 1.
    Missing  nan stays nan and does not count among the m.
    Errors   ValueError for a p outside 0 to 1.
    Source   Benjamini & Hochberg (1995) J R Stat Soc B 57:289-300. Checked in tests/published/test_false_discovery.py.
    """
    p = np.asarray(p, dtype=float)
    if np.any((p < 0) | (p > 1)):
        raise ValueError(f"p of {p[(p < 0) | (p > 1)][0]:g}: values from 0 to 1 are expected")
    adjusted = np.full(p.shape, np.nan)
    where = np.flatnonzero(~np.isnan(p))
    descending = where[np.argsort(-p[where], kind="stable")]
    factors = where.size / np.arange(where.size, 0, -1)
    adjusted[descending] = np.minimum.accumulate(np.minimum(p[descending] * factors, 1))
    return adjusted
