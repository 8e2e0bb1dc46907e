"""How far a group chosen for a high first reading falls at the next one without any effect."""

from __future__ import annotations

import numpy as np
from scipy.special import log_ndtr


def expected_fall(
    mean: float, between_variance: float, within_variance: float, cut: float, readings: int = 1
) -> float:
    """(σ_w²/m)/√(σ_b² + σ_w²/m)·C(z), C(z) = φ(z)/(1 − Φ(z)), z = (c − μ)/√(σ_b² + σ_w²/m).

    The expected fall of the mean of those whose first reading, or the mean of their first m, is above the cut. For
    those below a cut the rise is the same with −mean and −cut. True values and errors are taken to be normal.

    Units    mean and cut in one unit, variances in its square: between people, and within a person between days.
    Errors   ValueError for a negative variance, no spread at all, or fewer than one reading.
    Source   Barnett, van der Pols & Dobson (2005) Int J Epidemiol 34:215-220. Checked in
             tests/published/test_regression_to_mean.py, by simulation in tests/benchmarks/outcome_recovery.py.
    """
    within = within_variance / readings if readings >= 1 else np.nan
    spread = between_variance + within
    if not (between_variance >= 0 and within >= 0 and spread > 0):
        raise ValueError(
            f"variance {between_variance:g} between and {within_variance:g} within people over {readings} readings; "
            "neither may be negative, nor both 0, and one reading at least is expected"
        )
    z = (cut - mean) / np.sqrt(spread)
    # φ(z)/(1 − Φ(z)) through logarithms: 1 − Φ is 0 in double precision from z = 8.3 on
    hazard = np.exp(-(z**2) / 2 - np.log(2 * np.pi) / 2 - log_ndtr(-z))
    return float(within / np.sqrt(spread) * hazard)
