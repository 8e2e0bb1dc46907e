"""How probable it is that a hoped-for share was reached."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri


def probability_of_target(
    value: ArrayLike, low: ArrayLike, high: ArrayLike, target: float, confidence: float = 0.95
) -> NDArray[np.float64]:
    """P(true value ≥ target) = Φ((value − target)/s), s = (high − low)/2z: a normal posterior.

    Shapes   value, low, high, out: (sites,): shrunken values and their limits.
    Units    all in the same unit; probability from 0 to 1.
    Missing  nan where a figure is nan or the limits do not differ.
    Source   the posterior of the empirical Bayes estimate, Morris (1983) JASA 78:47-55. Calibration by simulation in
             tests/benchmarks/outcome_recovery.py.
    """
    value, low, high = (np.asarray(part, dtype=float) for part in (value, low, high))
    spread = (high - low) / (2 * ndtri((1 + confidence) / 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(spread > 0, ndtr((value - target) / spread), np.nan)
