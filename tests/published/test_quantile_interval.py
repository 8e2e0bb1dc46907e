"""The order-statistic interval of a quantile."""

import numpy as np
import pytest
from scipy.stats import binom

from pipeline.statistics.value_count import order_statistic_ranks


# Hahn & Meeker (1991) Statistical Intervals ch. 5; Conover, Practical Nonparametric Statistics. Ranks and coverage by
# R 4.2.2: qbinom(.025, n, p), qbinom(.975, n, p) + 1, diff(pbinom(c(l - 1, u - 1), n, p)).
@pytest.mark.parametrize(
    ("people", "percent", "lower", "upper", "coverage"),
    [(100, 50, 40, 61, 0.964800), (700, 10, 55, 87, 0.956344)],
)
def test_ranks_and_coverage_agree_with_r(people, percent, lower, upper, coverage):
    found = [int(rank.item()) for rank in order_statistic_ranks([people], [percent])]
    assert found == [lower, upper]
    below_upper, below_lower = binom.cdf([found[1] - 1, found[0] - 1], people, percent / 100)
    assert below_upper - below_lower == pytest.approx(coverage, abs=5e-7)


# The same rule, R 4.2.2: at n = 30 and p = 0.1 the lower limit does not exist (rank 0), the upper is the 8th.
def test_a_limit_that_does_not_exist_has_a_rank_outside_the_sample():
    lower, upper = order_statistic_ranks([30], [10, 90])
    assert lower.tolist() == [[0, 23]]
    assert upper.tolist() == [[8, 31]]


# scipy 1.17, binom.ppf: an independent inverse of the binomial, at every size to 300 and some large ones.
def test_ranks_agree_with_scipy_at_every_size():
    people = np.array([*range(1, 301), 999, 1000, 12_345, 1_000_000, 10_000_000])
    percents = np.array([3, 5, 10, 25, 50, 75, 85, 90, 95, 97])
    lower, upper = order_statistic_ranks(people, percents)
    assert np.array_equal(lower, binom.ppf(0.025, people[:, None], percents / 100))
    assert np.array_equal(upper, binom.ppf(0.975, people[:, None], percents / 100) + 1)


# Hahn & Meeker's promise: the ranks hold the true quantile at least 95 times in 100, unless a limit is missing.
def test_coverage_is_never_below_the_confidence():
    people, percents = np.arange(20, 2000, 37), np.array([3, 10, 50, 90, 97])
    lower, upper = order_statistic_ranks(people, percents)
    n, p = np.broadcast_arrays(people[:, None], percents / 100)
    coverage = binom.cdf(upper - 1, n, p) - binom.cdf(lower - 1, n, p)
    assert coverage.min() >= 0.95
