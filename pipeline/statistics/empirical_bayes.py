"""Sites' values drawn towards the mean of all by as much as chance deserves, with intervals to match."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]

_MOST_STEPS = 500


@dataclass(frozen=True)
class Shrunken:
    """value, low, high, shrinkage (share of the way to the mean): (sites,); mean and between_variance of all sites."""

    value: Floats
    low: Floats
    high: Floats
    shrinkage: Floats
    mean: float
    between_variance: float


def shrink(value: ArrayLike, variance: ArrayLike, confidence: float = 0.95) -> Shrunken:
    """θ̃_i = B_i·μ + (1 − B_i)·y_i, B_i = (k − 3)/(k − 1) · v_i/(v_i + τ²).

    τ² and μ solve τ² = Σ w{k/(k − 1)·(y − μ)² − v}/Σ w with w = 1/(v + τ²); the factor (k − 3)/(k − 1) pays for
    estimating τ², and the interval's variance adds what estimating μ and B costs:
    v_i(1 − (1 − l_i/k)·B_i) + 2/(k − 3)·B_i²·(v̄ + τ²)/(v_i + τ²)·(y_i − μ)², l_i = k·w_i/Σw.

    Shapes   value, variance, out: (sites,).
    Units    value in any unit, variance in its square; shrinkage from 0 to 1.
    Missing  a site whose value or variance is nan is nan, and tells nothing about the others.
    Errors   ValueError for fewer than four sites or a variance that is not above 0.
    Source   Morris (1983) JASA 78:47-55; Efron & Morris (1975) JASA 70:311-319.
             Checked in tests/published/test_empirical_bayes.py.
    """
    given, given_variance = np.asarray(value, dtype=float), np.asarray(variance, dtype=float)
    kept = ~(np.isnan(given) | np.isnan(given_variance))
    y, v = given[kept], given_variance[kept]
    k = y.size
    if k < 4 or np.any(v <= 0):
        raise ValueError(
            f"{k} sites, smallest variance {v.min() if k else np.nan:g}: "
            "four sites or more with variances above 0 are expected"
        )
    mean, between = _mean_and_between(y, v)
    w = 1 / (v + between)
    b = (k - 3) / (k - 1) * v * w
    lever = k * w / w.sum()
    shrunken = b * mean + (1 - b) * y
    spread = 2 / (k - 3) * b**2 * (w @ v / w.sum() + between) * w * (y - mean) ** 2
    half = ndtri((1 + confidence) / 2) * np.sqrt(v * (1 - (1 - lever / k) * b) + spread)
    return Shrunken(
        *(_at(kept, part) for part in (shrunken, shrunken - half, shrunken + half, b)), mean, between
    )


def _mean_and_between(y: Floats, v: Floats) -> tuple[float, float]:
    k, between = y.size, max(0.0, float(np.var(y, ddof=1) - v.mean()))
    for _ in range(_MOST_STEPS):
        w = 1 / (v + between)
        mean = w @ y / w.sum()
        updated = max(0.0, float(w @ (k / (k - 1) * (y - mean) ** 2 - v) / w.sum()))
        if abs(updated - between) <= 1e-12 * (v.mean() + between):
            break
        between = updated
    return float(mean), between


def _at(kept: NDArray[np.bool_], part: Floats) -> Floats:
    whole = np.full(kept.shape, np.nan)
    whole[kept] = part
    return whole
