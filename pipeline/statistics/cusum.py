"""Cumulative-sum charts: a small lasting shift of an analyser adds up until it is seen.

The scores that go in have mean 0 and standard deviation 1 while the analyser is as it was (an adjusted difference
over its standard error, less the analyser's own usual level). The limit is not chosen by eye: it is the one at which
an analyser that has not changed gives a false alarm only once in a stated number of scores.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr
from threadpoolctl import threadpool_limits

Floats = NDArray[np.float64]

_NODES_A_STEP = 4  # the integrand is a bell one standard deviation wide


@dataclass(frozen=True)
class Cusum:
    """upper, lower: (times, devices), both 0 or more; is_alarm: (times, devices), every time a limit is passed."""

    upper: Floats
    lower: Floats
    is_alarm: NDArray[np.bool_]


def cusum(score: ArrayLike, reference: float, decision: float) -> Cusum:
    """Two-sided tabular CUSUM: S⁺ ← max(0, S⁺ + z − k), S⁻ ← max(0, S⁻ − z − k); alarm when either passes h.

    Both sums start again at 0 after an alarm.

    Shapes   score: (times, devices) in order of time.
    Units    score in standard deviations; reference k is half the shift that matters, decision h the limit.
    Missing  a time without a score (nan) leaves the sums as they were.
    Errors   ValueError for a reference or decision that is not above 0.
    Source   Page (1954) Biometrika 41:100-115; Montgomery, Introduction to Statistical Quality Control, ch. 9.
             Checked in tests/statistics/test_cusum.py.
    """
    if reference <= 0 or decision <= 0:
        raise ValueError(f"reference {reference:g} and decision {decision:g}: both above 0 are expected")
    score = np.asarray(score, dtype=float)
    upper, lower = np.zeros(score.shape), np.zeros(score.shape)
    is_alarm = np.zeros(score.shape, dtype=bool)
    above, below = np.zeros(score.shape[1]), np.zeros(score.shape[1])
    for time, z in enumerate(score):
        there = ~np.isnan(z)
        above = np.where(there, np.maximum(0, above + z - reference), above)
        below = np.where(there, np.maximum(0, below - z - reference), below)
        upper[time], lower[time] = above, below
        is_alarm[time] = there & ((above > decision) | (below > decision))
        above, below = np.where(is_alarm[time], 0, above), np.where(is_alarm[time], 0, below)
    return Cusum(upper, lower, is_alarm)


def run_length(reference: float, decision: float, shift: float = 0.0) -> float:
    """Mean number of scores to an alarm of the two-sided chart, when scores have mean `shift`.

    Page's integral equation for each side, by Gauss–Legendre quadrature, and 1/L = 1/L⁺ + 1/L⁻.

    Units    all in standard deviations; out in scores.
    Source   Page (1954); Lucas & Crosier (1982) Technometrics 24:199-205 tabulate it.
             Checked in tests/published/test_control_charts.py.
    """
    return 1 / (1 / _one_sided(reference, decision, shift) + 1 / _one_sided(reference, decision, -shift))


def decision_for(reference: float, in_control_run_length: float) -> float:
    """The limit h at which an unchanged analyser gives a false alarm once in so many scores, on average.

    Errors   ValueError for a run length under 10 or over 10 million scores.
    """
    if not 10 <= in_control_run_length <= 1e7:
        raise ValueError(
            f"an in-control run length of {in_control_run_length:g}: 10 to 10 million scores are expected"
        )
    with threadpool_limits(1, "blas"):
        highest = 0.5
        while (
            run_length(reference, highest) < in_control_run_length
        ):  # no further: the equation loses its digits
            highest += 0.5
        return float(
            brentq(
                lambda h: np.log(run_length(reference, h) / in_control_run_length), 1e-6, highest, xtol=1e-9
            )
        )


def _one_sided(reference: float, decision: float, shift: float) -> float:
    """L(0) of L(s) = 1 + L(0)·Φ(k − s − δ) + ∫₀ʰ L(y)·φ(y + k − s − δ) dy."""
    nodes, weights = np.polynomial.legendre.leggauss(32 + int(_NODES_A_STEP * decision))
    y, w = decision / 2 * (nodes + 1), decision / 2 * weights
    start = np.concatenate([[0.0], y])
    kernel = np.exp(-((y[None, :] + reference - start[:, None] - shift) ** 2) / 2) / np.sqrt(2 * np.pi) * w
    matrix = np.eye(start.size)
    matrix[:, 0] -= ndtr(reference - start - shift)
    matrix[:, 1:] -= kernel
    return float(np.linalg.solve(matrix, np.ones(start.size))[0])
