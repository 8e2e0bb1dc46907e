"""How much more sites differ than chance makes them, estimated without letting the outlying sites set the scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Overdispersion:
    """factor φ of the winsorised scores; p of Iφ against χ²(I)."""

    scores: Floats
    winsorised: Floats
    factor: float
    p: float


def overdispersion(
    value: ArrayLike, target: float, standard_error: ArrayLike, winsorise: float = 0.10
) -> Overdispersion:
    """φ = mean of squared winsorised z-scores.

    Scores beyond the 10 % and 90 % quantiles (Hyndman–Fan type 7) are drawn in to them. Winsorising makes φ small
    when there is no overdispersion: read p as a guide, and widen limits only when Iφ exceeds what chance gives.

    Shapes   value, standard_error: (sites,).
    Units    value, target and standard error alike.
    Missing  a site whose value is nan or whose standard error is nan or 0 is left out; fewer than 3 sites give
             factor nan.
    Source   Spiegelhalter (2005) Qual Saf Health Care 14:347-351. Checked in tests/published/test_funnel.py.
    """
    value, error = np.asarray(value, dtype=float), np.asarray(standard_error, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        scores = np.where(error > 0, (value - target) / error, np.nan)
    kept = np.isfinite(scores)
    sites = int(kept.sum())
    if sites < 3:
        return Overdispersion(scores, scores, np.nan, np.nan)
    low, high = np.quantile(scores[kept], [winsorise, 1 - winsorise])
    winsorised = np.clip(scores, low, high)
    factor = float(np.mean(winsorised[kept] ** 2))
    return Overdispersion(scores, winsorised, factor, float(chdtrc(sites, sites * factor)))
