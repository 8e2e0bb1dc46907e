"""Standardised ratios and their limits."""

import numpy as np
import pytest
from scipy.stats import binom

from pipeline.statistics.indirect_standardisation import expected_count, ratio_interval, standardised_ratio


# Newcombe RG (1998) Stat Med 17:857-872, the paper's examples, method 3 (score): limits of 81 of 263 and 15 of 148.
# With a tenth of the people expected, the ratio and its limits are ten times the proportion and its own.
@pytest.mark.parametrize(
    ("observed", "people", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605)]
)
def test_limits_are_those_of_the_proportion_over_what_is_expected(observed, people, low, high):
    assert standardised_ratio([observed], [people / 10])[0] == pytest.approx(10 * observed / people)
    found = np.ravel(ratio_interval([observed], [people], [people / 10]))
    assert found == pytest.approx([10 * low, 10 * high], abs=5e-4)


# Exact Poisson limits from R 4.2.2 (qchisq), of 100 observed and 100 expected: 0.8136 to 1.2163 (Breslow & Day, IARC
# Sci Publ 82, 1987, ch. 2). Where few of many are in the band the binomial is Poisson, and the limits are about the
# same; where half are, it varies less, and they are closer.
def test_limits_are_near_the_exact_poisson_ones_where_the_band_is_rare_and_inside_them_where_it_is_common():
    assert standardised_ratio([100], [100])[0] == 1
    rare = np.ravel(ratio_interval([100], [100_000], [100]))
    assert rare == pytest.approx([0.813640, 1.216268], abs=0.01)
    common = np.ravel(ratio_interval([100], [200], [100]))
    assert 0.8136 + 0.04 < common[0] < 1 < common[1] < 1.2163 - 0.04


# Selvin (2004), Statistical Analysis of Epidemiologic Data, in R epitools' ageadjust.indirect: US deaths of 1940 on the
# rates of 1960: 71,058 observed of 59,448,513 people, 85,556.89 expected, printed as 0.83 (0.82–0.84).
def test_deaths_of_1940_on_the_rates_of_1960():
    assert standardised_ratio([71058], [85556.89])[0] == pytest.approx(0.83, abs=0.005)
    found = np.ravel(ratio_interval([71058], [59_448_513], [85556.89]))
    assert found == pytest.approx([0.82, 0.84], abs=0.005)


# Brown, Cai & DasGupta (2001) Stat Sci 16:101-133: for 95 %, Wilson's interval holds shares 95 times in 100 on average
# over shares, for any number of people; single shares oscillate about it. Here the binomial distribution is summed.
@pytest.mark.parametrize("people", [50, 100, 1000])
def test_limits_hold_the_truth_95_times_in_100(people):
    observed, true_share = np.arange(people + 1), np.linspace(0.1, 0.9, 1601)[:, None]
    low, high = ratio_interval(observed, np.full(people + 1, people), np.full(people + 1, 0.25 * people))
    holds = (low <= true_share / 0.25) & (high >= true_share / 0.25)
    coverage = (binom.pmf(observed, people, true_share) * holds).sum(axis=1)
    assert coverage.mean() == pytest.approx(0.95, abs=0.003)


# Breslow & Day (1987) ch. 2: expected cases are person-years times reference rates, summed.
def test_expected_people_are_summed_over_strata():
    assert expected_count([200, 180, 120, 20], [0.09, 0.25, 0.3, 0.2]).tolist() == pytest.approx([103.0])
