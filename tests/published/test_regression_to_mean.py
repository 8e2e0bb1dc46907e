"""Regression to the mean against Barnett's equation and against integration of the two normal readings."""

import numpy as np
import pytest
from scipy import integrate, stats

from pipeline.statistics.regression_to_mean import expected_fall


# Barnett AG, van der Pols JC, Dobson AJ (2005) Int J Epidemiol 34:215-220: their parameters μ 60, σ 15, chosen
# below 40, half of the variance within people. Below a cut by symmetry: −μ and −cut. The figure is worked out
# from the equation.
def test_barnetts_parameters_below_a_cut():
    assert expected_fall(-60, 15**2 / 2, 15**2 / 2, -40) == pytest.approx(13.486012, abs=5e-7)


def test_bmi_chosen_at_30():
    # BMI μ 27, σ 5, reliability .95; the same equation, worked out in Python
    assert expected_fall(27, 0.95 * 25, 0.05 * 25, 30) == pytest.approx(0.303756, abs=5e-7)


# Independent of the equation: E(x1 − x2 | x1 > c) for two jointly normal readings, by numerical integration.
@pytest.mark.parametrize(("mean", "between", "within", "cut"), [(27, 20.0, 1.0, 25), (80, 150.0, 9.0, 100)])
def test_the_fall_is_that_of_two_normal_readings(mean, between, within, cut):
    spread = np.sqrt(between + within)
    share = stats.norm.sf(cut, mean, spread)

    def fall_at(first):
        expected_second = mean + between / (between + within) * (first - mean)
        return (first - expected_second) * stats.norm.pdf(first, mean, spread) / share

    by_integration = integrate.quad(fall_at, cut, mean + 12 * spread)[0]
    assert expected_fall(mean, between, within, cut) == pytest.approx(by_integration, rel=1e-9)


def test_more_readings_at_entry_leave_less_to_regress():
    falls = [expected_fall(27, 20, 4, 30, m) for m in (1, 2, 4)]
    assert falls[0] > falls[1] > falls[2] > 0


def test_far_cuts_stay_finite_and_wrong_variances_are_refused():
    assert expected_fall(0, 0, 1, 40) == pytest.approx(40.025, abs=0.001)  # φ/(1 − Φ) at 40: 40 + 1/40
    for between, within, readings in ((-1, 1, 1), (1, -1, 1), (0, 0, 1), (1, 1, 0)):
        with pytest.raises(ValueError, match="variance"):
            expected_fall(0, between, within, 1, readings)
