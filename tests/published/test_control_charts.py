"""Run lengths of CUSUM and EWMA charts."""

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.statistics import cusum, ewma


# Lucas & Crosier (1982) Technometrics 24:199-205, as reprinted in Montgomery, Introduction to Statistical Quality
# Control, ch. 9: two-sided CUSUM, k = 0.5. From memory.
@pytest.mark.parametrize(
    ("decision", "lengths"),
    [
        (4, {0: 168, 0.25: 74.2, 0.5: 26.6, 1: 8.38, 2: 3.34}),
        (5, {0: 465, 0.25: 139, 0.5: 38.0, 1: 10.4, 2: 4.01}),
    ],
)
def test_cusum_run_lengths_agree_with_lucas_and_crosier(decision, lengths):
    for shift, length in lengths.items():
        assert cusum.run_length(0.5, decision, shift) == pytest.approx(length, rel=0.005)


# Lucas & Saccucci (1990) Technometrics 32:1-12, as reprinted in Montgomery, ch. 9. From memory.
@pytest.mark.parametrize(
    ("weight", "width", "lengths"),
    [
        (0.40, 3.054, {0: 500, 0.25: 224, 0.5: 71.2, 0.75: 28.4, 1: 14.3, 1.5: 5.9, 2: 3.5}),
        (0.10, 2.814, {0: 500, 0.25: 106, 0.5: 31.3, 0.75: 15.9, 1: 10.3, 1.5: 6.1, 2: 4.4}),
    ],
)
def test_ewma_run_lengths_agree_with_lucas_and_saccucci(weight, width, lengths):
    for shift, length in lengths.items():
        assert ewma.run_length(weight, width, shift) == pytest.approx(length, rel=0.01)


# Shewhart: with all weight on the last score the chart is "three sigma", and its run length 1/P(|Z| > 3) = 370.4.
@pytest.mark.parametrize("shift", [0, 1, 3])
def test_an_ewma_without_memory_is_a_shewhart_chart(shift):
    beyond = norm.sf(3 - shift) + norm.cdf(-3 - shift)
    assert ewma.run_length(1.0, 3.0, shift) == pytest.approx(1 / beyond, rel=1e-6)


# Siegmund's approximation of the one-sided run length (1985, Sequential Analysis), b = h + 1.166:
# (exp(2kb) − 2kb − 1)/(2k²); two-sided, half of it. From memory; good to a few percent.
@pytest.mark.parametrize(("reference", "decision"), [(0.25, 8), (0.5, 5), (0.5, 8), (1.0, 3)])
def test_cusum_run_lengths_agree_with_siegmund(reference, decision):
    b = decision + 1.166
    expected = (np.exp(2 * reference * b) - 2 * reference * b - 1) / (2 * reference**2) / 2
    assert cusum.run_length(reference, decision) == pytest.approx(expected, rel=0.06)
