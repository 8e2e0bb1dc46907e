"""How far apart two readings of an unchanged person lie, and which change is more than that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri


@dataclass(frozen=True)
class MeasurementError:
    """error: standard deviation of one reading; percent of the mean; reliability from 0 to 1; pairs it rests on."""

    pairs: int
    error: float
    percent: float
    reliability: float


def technical_error(
    pairs: int, squared_differences: float, readings: int, total: float, squares: float
) -> MeasurementError:
    """TEM = √(Σd²/2n); %TEM = 100·TEM/mean; R = 1 − TEM²/SD² of all the readings.

    Shapes   numbers: n pairs, Σd²; count, sum and sum of squares of the readings.
    Units    error in the measure's unit.
    Missing  percent is nan at a mean of 0, reliability with fewer than two readings or none that differ.
    Errors   ValueError without a pair.
    Source   Ulijaszek & Kerr (1999) Br J Nutr 82:165-177. Checked against Bland & Altman (1986) in
             tests/published/test_measurement_error.py.
    """
    if pairs < 1:
        raise ValueError(f"{pairs} pairs of readings; an error needs at least one")
    error = float(np.sqrt(squared_differences / (2 * pairs)))
    mean = total / readings if readings else np.nan
    spread = (squares - readings * mean**2) / (readings - 1) if readings > 1 else np.nan
    return MeasurementError(
        pairs,
        error,
        100 * error / mean if mean else np.nan,
        1 - error**2 / spread if spread > 0 else np.nan,
    )


def least_reliable_change(error: float, confidence: float = 0.95) -> float:
    """The smallest change of one person that is more than error: z·√2·error, the smallest detectable change.

    A change beyond it is reliable in the sense of Jacobson & Truax: |x₂ − x₁|/(√2·s·√(1 − r)) > z, where
    s·√(1 − r) is the error.

    Units    as the error.
    Source   Jacobson & Truax (1991) J Consult Clin Psychol 59:12-19; de Vet et al. (2006) J Clin Epidemiol
             59:1033-1039. Checked in tests/published/test_measurement_error.py.
    """
    return float(ndtri((1 + confidence) / 2)) * float(np.sqrt(2)) * error
