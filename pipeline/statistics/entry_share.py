"""Whether something happens oftener at one site than at the others together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtrc

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class EntryShare:
    """All (sites,): share at the site, its ratio to the share at the others, and p of as many or more by chance."""

    share: Floats
    ratio: Floats
    p: Floats


def against_the_others(count: ArrayLike, of: ArrayLike) -> EntryShare:
    """Exact binomial test of each site's count, one-sided, at the share of the other sites together.

    Shapes   count, of: (sites,).
    Units    counts of rows or readings; share from 0 to 1.
    Missing  nan for a site of which nothing is counted; ratio and p are nan where the others show none of it.
    Errors   ValueError for a count outside 0 to what it is out of.
    Source   binomial test, common practice. The others' share is taken as known: with few other rows p is too small.
             Checked against scipy in tests/statistics/test_entry_share.py.
    """
    count, of = np.asarray(count, dtype=float), np.asarray(of, dtype=float)
    if np.any((count < 0) | (count > of)):
        i = int(np.argmax((count < 0) | (count > of)))
        raise ValueError(f"site {i}: {count[i]:g} of {of[i]:g}; a count lies between 0 and what it is out of")
    with np.errstate(divide="ignore", invalid="ignore"):
        share, elsewhere = count / of, (count.sum() - count) / (of.sum() - of)
        known = (elsewhere > 0) & (elsewhere < 1) & (of > 0)
        at = np.where(known, elsewhere, 0.5)
        whole, size = np.maximum(count - 1, 0).astype(np.int64), np.maximum(of, 1).astype(np.int64)
        p = np.where(count > 0, bdtrc(whole, size, at), 1.0)
        return EntryShare(share, np.where(known, share / elsewhere, np.nan), np.where(known, p, np.nan))
