"""Exponentially weighted moving averages: a slow drift of an analyser lifts the average of its recent scores.

The limit is the one at which an analyser that has not changed gives a false alarm only once in a stated number of
scores; the scores that go in are as for pipeline/statistics/cusum.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from threadpoolctl import threadpool_limits

Floats = NDArray[np.float64]

_NODES_A_STEP = 4  # of the chart's own spread: the integrand is a bell one step wide


@dataclass(frozen=True)
class Ewma:
    """average: (times, devices); limit: half the width of the control band; is_alarm: (times, devices)."""

    average: Floats
    limit: float
    is_alarm: NDArray[np.bool_]


def ewma(score: ArrayLike, weight: float, width: float) -> Ewma:
    """Q ← λz + (1 − λ)Q from 0; alarm when |Q| passes L·√(λ/(2 − λ)).

    Shapes   score: (times, devices) in order of time.
    Units    score and average in standard deviations; weight λ from 0.01 to 1, width L in standard errors of Q.
    Missing  a time without a score (nan) leaves the average as it was.
    Errors   ValueError for a weight outside 0.01 to 1 or a width that is not above 0.
    Source   Roberts (1959) Technometrics 1:239-250; Lucas & Saccucci (1990) Technometrics 32:1-12.
             Checked in tests/statistics/test_ewma.py.
    """
    limit = _limit(weight, width)
    score = np.asarray(score, dtype=float)
    average, current = np.zeros(score.shape), np.zeros(score.shape[1])
    for time, z in enumerate(score):
        current = np.where(np.isnan(z), current, weight * np.nan_to_num(z) + (1 - weight) * current)
        average[time] = current
    return Ewma(average, limit, (np.abs(average) > limit) & ~np.isnan(score))


def run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Mean number of scores to the first alarm, when scores have mean `shift`, from a fresh start.

    L(u) = 1 + 1/λ·∫ L(y)·φ((y − (1 − λ)u)/λ − δ) dy over the control band, by Gauss–Legendre quadrature.

    Units    shift in standard deviations; out in scores.
    Source   Crowder (1987) Technometrics 29:401-407; Lucas & Saccucci (1990) tabulate it.
             Checked in tests/published/test_control_charts.py.
    """
    limit = _limit(weight, width)
    nodes, weights = np.polynomial.legendre.leggauss(32 + int(_NODES_A_STEP * limit / weight))
    y, w = limit * nodes, limit * weights
    away = (y[None, :] - (1 - weight) * y[:, None]) / weight - shift
    matrix = np.eye(y.size) - np.exp(-(away**2) / 2) / np.sqrt(2 * np.pi) / weight * w
    lengths = np.linalg.solve(matrix, np.ones(y.size))
    at_zero = np.exp(-((y / weight - shift) ** 2) / 2) / np.sqrt(2 * np.pi) / weight * w
    return float(1 + at_zero @ lengths)


def width_for(weight: float, in_control_run_length: float) -> float:
    """The width L at which an unchanged analyser gives a false alarm once in so many scores, on average.

    Errors   ValueError for a run length under 10 or over 10 million scores.
    """
    if not 10 <= in_control_run_length <= 1e7:
        raise ValueError(
            f"an in-control run length of {in_control_run_length:g}: 10 to 10 million scores are expected"
        )
    with threadpool_limits(1, "blas"):
        widest = 0.5
        while run_length(weight, widest) < in_control_run_length:  # no further: the equation loses its digits
            widest += 0.25
        return float(
            brentq(
                lambda width: np.log(run_length(weight, width) / in_control_run_length),
                0.1,
                widest,
                xtol=1e-9,
            )
        )


def _limit(weight: float, width: float) -> float:
    if not 0.01 <= weight <= 1 or width <= 0:
        raise ValueError(
            f"weight {weight:g}, width {width:g}: a weight from 0.01 to 1, a width above 0 are expected"
        )
    return width * float(np.sqrt(weight / (2 - weight)))
