"""Whether something happens oftener at one site than at the others together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, logsumexp

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
        p = np.array([_chance_of_as_many(n, drawn, count.sum(), of.sum()) for n, drawn in zip(count, of, strict=True)])
        return EntryShare(
            share, np.where(known & (elsewhere > 0), share / elsewhere, np.nan), np.where(known, p, np.nan)
        )


def _chance_of_as_many(count: float, drawn: float, marked: float, total: float) -> float:
    """P(X >= count) of the marked among the `drawn` out of a total: the hypergeometric tail, summed.

    scipy.stats has the same, and costs half a second of every night to import.
    """
    if count <= max(0.0, drawn - (total - marked)):
        return 1.0
    x = np.arange(count, min(marked, drawn) + 1)
    log_of = _log_ways(marked, x) + _log_ways(total - marked, drawn - x) - _log_ways(total, drawn)
    return float(min(1.0, np.exp(logsumexp(log_of))))


def _log_ways(n: ArrayLike, k: ArrayLike) -> Floats:
    """The logarithm of the binomial coefficient."""
    return -np.log1p(n) - betaln(np.subtract(n, k) + 1, np.add(k, 1))
