"""Standardised ratios with exact and Byar limits."""

import numpy as np
import pytest
from scipy.stats import poisson

from pipeline.statistics.indirect_standardisation import (
    byar_ratio_interval,
    exact_ratio_interval,
    expected_count,
    standardised_ratio,
)


# Exact limits from R 4.2.2 (qchisq), Byar's from Breslow & Day, IARC Sci Publ 82 (1987), eq. 2.12 and 2.13.
@pytest.mark.parametrize(
    ("observed", "expected", "ratio", "exact", "byar"),
    [
        (8, 6.2, 1.290323, (0.557070, 2.542450), (0.555595, 2.542581)),
        (100, 100, 1.0, (0.813640, 1.216268), (0.813621, 1.216279)),
    ],
)
def test_ratios_and_limits(observed, expected, ratio, exact, byar):
    assert standardised_ratio([observed], [expected])[0] == pytest.approx(ratio, abs=5e-7)
    assert np.ravel(exact_ratio_interval([observed], [expected])) == pytest.approx(exact, abs=5e-7)
    assert np.ravel(byar_ratio_interval([observed], [expected])) == pytest.approx(byar, abs=5e-7)


# Selvin (2004), Statistical Analysis of Epidemiologic Data, in R epitools' ageadjust.indirect: US deaths of 1940 on the
# rates of 1960: 71,058 observed, 85,556.89 expected, printed as 0.83 (0.82–0.84).
def test_deaths_of_1940_on_the_rates_of_1960():
    assert standardised_ratio([71058], [85556.89])[0] == pytest.approx(0.83, abs=0.005)
    assert np.ravel(exact_ratio_interval([71058], [85556.89])) == pytest.approx([0.82, 0.84], abs=0.005)


# A public-health technical guide states that Byar's limits lie within 0.2 % of the exact ones from 10 observed on.
def test_byar_is_within_two_in_a_thousand_from_ten_observed():
    observed = np.arange(10, 2000)
    limits = exact_ratio_interval(observed, observed), byar_ratio_interval(observed, observed)
    for exact, byar in zip(*limits, strict=True):
        assert np.max(np.abs(byar / exact - 1)) < 0.002
    low, _ = exact_ratio_interval([5], [5])
    assert abs(byar_ratio_interval([5], [5])[0] / low - 1)[0] > 0.002  # and not below


# The definition: at the lower limit of the mean, as many or more than observed come up with probability 2.5 %.
@pytest.mark.parametrize("observed", [1, 8, 250])
def test_exact_limits_are_poisson_tails(observed):
    low, high = (limit[0] for limit in exact_ratio_interval([observed], [1.0]))
    assert poisson.sf(observed - 1, low) == pytest.approx(0.025, rel=1e-9)
    assert poisson.cdf(observed, high) == pytest.approx(0.025, rel=1e-9)


# Breslow & Day (1987) ch. 2: expected cases are person-years times reference rates, summed.
def test_expected_people_are_summed_over_strata():
    assert expected_count([200, 180, 120, 20], [0.09, 0.25, 0.3, 0.2]).tolist() == pytest.approx([103.0])
