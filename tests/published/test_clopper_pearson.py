"""The exact interval of Clopper and Pearson."""

import numpy as np
import pytest
from scipy.stats import binom, binomtest
from statsmodels.stats.proportion import proportion_confint

from pipeline.statistics.proportion_interval import clopper_pearson_interval


# R 4.2.2, binom.test(x, n)$conf.int, computed once for the project's methods.
# Clopper & Pearson (1934) Biometrika 26:404-413 define the limits.
@pytest.mark.parametrize(
    ("count", "people", "low", "high"),
    [(81, 263, 0.25273675, 0.36762192), (15, 148, 0.05784401, 0.16165049), (5, 50, 0.03327509, 0.21813537)],
)
def test_exact_limits_agree_with_r(count, people, low, high):
    assert np.ravel(clopper_pearson_interval([count], [people])) == pytest.approx([low, high], abs=5e-9)


# statsmodels 0.15, proportion_confint(method="beta"), and scipy 1.17, binomtest: independent implementations.
def test_exact_limits_agree_with_statsmodels_and_scipy():
    cells = [(k, n) for n in (1, 7, 30, 2500) for k in sorted({0, 1, n // 2, n - 1, n})]
    low, high = clopper_pearson_interval([k for k, _ in cells], [n for _, n in cells])
    for i, (k, n) in enumerate(cells):
        scipy_limits = binomtest(k, n).proportion_ci(method="exact")
        assert (low[i], high[i]) == pytest.approx((scipy_limits.low, scipy_limits.high), rel=1e-9, abs=1e-14)
        assert (low[i], high[i]) == pytest.approx(
            proportion_confint(k, n, method="beta"), rel=1e-9, abs=1e-14
        )


# Clopper & Pearson's own promise: whatever the true proportion, the interval holds it at least 95 times in 100.
# Summed exactly over every possible count, so there is no sampling error in the check.
@pytest.mark.parametrize("people", [5, 30, 100])
def test_coverage_is_never_below_the_confidence(people):
    counts = np.arange(people + 1)
    low, high = clopper_pearson_interval(counts, np.full(people + 1, people))
    for truth in np.linspace(0.005, 0.995, 199):
        coverage = binom.pmf(counts, people, truth)[(low <= truth) & (truth <= high)].sum()
        assert coverage >= 0.95 - 1e-12
