"""Limits of counts and control of many tests against base R (package stats), run live."""

import numpy as np
import pytest

from pipeline.statistics.false_discovery import benjamini_hochberg
from pipeline.statistics.funnel import exact_limits
from pipeline.statistics.indirect_standardisation import ratio_interval
from pipeline.statistics.proportion_interval import clopper_pearson_interval, wilson_interval
from pipeline.statistics.terminal_digit import digit_preference
from pipeline.statistics.value_count import order_statistic_ranks

COUNT = np.array([0, 1, 5, 15, 29, 81, 148, 4000, 9999])
PEOPLE = np.array([20, 29, 50, 148, 29, 263, 148, 10_000, 10_000])


# binom.test: Clopper & Pearson (1934) Biometrika 26:404-413; prop.test(correct = FALSE): Wilson (1927) J Am Stat Assoc
# 22:209-212. At 0 and all prop.test's limit is 0 or 1 to rounding.
def test_limits_of_a_proportion(r):
    of_r = r(
        """
limits <- function(test) t(mapply(function(x, n) suppressWarnings(test(x, n))$conf.int, cells$count, cells$people))
exact <- limits(binom.test)
score <- limits(function(x, n) prop.test(x, n, correct = FALSE))
found <- list(exact_low = exact[, 1], exact_high = exact[, 2], score_low = score[, 1], score_high = score[, 2])
""",
        cells={"count": COUNT, "people": PEOPLE},
    )
    for name, interval in (("exact", clopper_pearson_interval), ("score", wilson_interval)):
        low, high = interval(COUNT, PEOPLE)
        assert low == pytest.approx(of_r[f"{name}_low"], rel=1e-8, abs=1e-12)
        assert high == pytest.approx(of_r[f"{name}_high"], rel=1e-8)


# prop.test(correct = FALSE): Wilson (1927), over the share that was expected.
def test_limits_of_a_ratio(r):
    observed, people, expected = np.array([1, 2, 8, 37, 250]), np.array([9, 40, 80, 500, 400]), np.full(5, 6.2)
    of_r = r(
        """
limits <- t(mapply(function(x, n) suppressWarnings(prop.test(x, n, correct = FALSE))$conf.int,
  counts$observed, counts$people)) / (counts$expected / counts$people)
found <- list(low = limits[, 1], high = limits[, 2])
""",
        counts={"observed": observed, "people": people, "expected": expected},
    )
    low, high = ratio_interval(observed, people, expected)
    assert low == pytest.approx(of_r["low"], rel=1e-9)
    assert high == pytest.approx(of_r["high"], rel=1e-9)


# p.adjust(method = "BH"): Benjamini & Hochberg (1995) J R Stat Soc B 57:289-300.
def test_adjusted_p_values(r):
    p = np.random.default_rng(3).beta(0.4, 2, 60).round(3)  # with ties
    of_r = r('found <- list(adjusted = p.adjust(sites$p, method = "BH"))', sites={"p": p})
    assert benjamini_hochberg(p) == pytest.approx(of_r["adjusted"], rel=1e-12)


# chisq.test against ten equal shares.
def test_terminal_digits(r):
    counts = np.array([180, 90, 95, 85, 92, 140, 88, 80, 78, 72])
    of_r = r("test <- chisq.test(digits$n); found <- list(x = as.numeric(test$statistic), p = test$p.value)",
             digits={"n": counts})  # fmt: skip
    found = digit_preference(counts)
    assert found.chi_square[0] == pytest.approx(of_r["x"], rel=1e-12)
    assert found.p[0] == pytest.approx(of_r["p"], rel=1e-9)


# qbinom and pbinom: the ranks of order statistics that bound a quantile (Hahn & Meeker 1991, ch. 5), and the smooth
# funnel limits (Spiegelhalter 2005, Stat Med 24:1185-1202, appendix).
def test_binomial_ranks_and_funnel_limits(r):
    people = np.array([30, 31, 50, 100, 700, 4999])
    of_r = r(
        """
n <- sites$people
limit <- function(p, theta) {
  r <- qbinom(p, n, theta)
  pmax(r - (pbinom(r, n, theta) - p) / dbinom(r, n, theta), 0) / n
}
found <- list(lower = qbinom(0.025, n, 0.1), upper = qbinom(0.975, n, 0.1) + 1,
  limits = sapply(c(0.001, 0.025, 0.975, 0.999), limit, theta = 0.25))
""",
        sites={"people": people},
    )
    lower, upper = order_statistic_ranks(people, 10)
    assert lower[:, 0].tolist() == of_r["lower"]
    assert upper[:, 0].tolist() == of_r["upper"]
    assert exact_limits(0.25, people) == pytest.approx(np.array(of_r["limits"]), rel=1e-9, abs=1e-12)
