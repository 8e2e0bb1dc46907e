"""Control limits of a funnel plot: how far a site of a given size strays by chance when it is like all the others."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr

from pipeline.statistics.binomial_quantile import binomial_quantile

Floats = NDArray[np.float64]

SHARES = (0.001, 0.025, 0.975, 0.999)  # 99.8 % and 95 % limits


def exact_limits(target: float, people: ArrayLike, shares: ArrayLike = SHARES) -> Floats:
    """Binomial limits, interpolated between whole counts so that the funnel is smooth.

    With r the smallest count where the distribution function F reaches the share p, and
    a = (F(r) − p)/(F(r) − F(r − 1)), the limit is (r − a)/n; below 0 it is shown as 0.

    Shapes   people: (sites,); shares: (shares,); out (sites, shares).
    Units    target and limits from 0 to 1.
    Missing  nan for a site without people.
    Errors   ValueError for a target outside 0 to 1.
    Source   Spiegelhalter (2005) Stat Med 24:1185-1202, appendix. Checked in tests/published/test_funnel.py.
    """
    n, p = _checked(target, people, shares)
    whole = np.maximum(n, 1).astype(np.int64)
    r = binomial_quantile(p, whole, target)
    here = bdtr(r, whole, target)
    before = np.where(r >= 1, bdtr(np.maximum(r - 1, 0), whole, target), 0)
    limit = np.maximum((r - (here - p) / (here - before)) / whole, 0)
    return np.where(n >= 1, limit, np.nan)


def _checked(target: float, people: ArrayLike, shares: ArrayLike) -> tuple[Floats, Floats]:
    if not 0 < target < 1:
        raise ValueError(f"a target of {target:g}: a proportion between 0 and 1 is expected")
    return np.broadcast_arrays(np.asarray(people, dtype=float)[:, None], np.asarray(shares, dtype=float))
