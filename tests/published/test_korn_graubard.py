"""The clustered variance of a proportion and the interval that stands on it."""

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.statistics.clustered_proportion import clustered_proportion, korn_graubard_interval
from pipeline.statistics.proportion_interval import clopper_pearson_interval

# R survey 4.1.1, data apiclus1 (183 schools in 15 districts, equal weights, no fpc), indicator sch.wide = "Yes":
#   svydesign(id = ~dnum, data = apiclus1); svymean(~sch.wide, deff = TRUE); svyciprop(~sch.wide, method = "beta")
SIZES = [13, 34, 4, 13, 16, 2, 1, 4, 12, 21, 9, 11, 37, 2, 4]
YES = [11, 31, 3, 10, 15, 2, 1, 4, 12, 18, 7, 11, 32, 1, 2]


def test_variance_and_design_effect_agree_with_r_survey():
    found = clustered_proportion(YES, SIZES)
    assert found.proportion[0] == pytest.approx(0.87431694, abs=5e-9)
    assert np.sqrt(found.variance[0]) == pytest.approx(0.02056424, abs=5e-9)
    assert found.design_effect[0] == pytest.approx(0.704256, abs=5e-7)
    assert found.freedom[0] == 14
    assert found.effective_people[0] == 183  # 260 uncapped: clustering is never good news


# Korn & Graubard (1998) Surv Methodol 24:193-201. R's svyciprop does not cap the effective size (0.82311860 to
# 0.91507652 here); with the cap at n before the t-ratio, as the NCHS standards have it (Parker et al. 2017,
# Vital Health Stat 2(175)), computed once with R's qbeta: 0.81159871 to 0.92208709.
def test_interval_with_the_capped_effective_size():
    low, high = korn_graubard_interval(clustered_proportion(YES, SIZES))
    assert (low[0], high[0]) == pytest.approx((0.81159871, 0.92208709), abs=5e-9)


# R survey's uncapped limits, reached by the same functions when the cap does not bind: one figure tests the rest.
def test_interval_without_a_cap_agrees_with_r_survey():
    found = clustered_proportion(YES, SIZES)
    effective = 183 / found.design_effect[0] * (1.9730840 / 2.1447867) ** 2  # R: qt(.975, 182), qt(.975, 14)
    low, high = clopper_pearson_interval([effective * found.proportion[0]], [effective])
    assert (low[0], high[0]) == pytest.approx((0.82311860, 0.91507652), abs=5e-8)


# statsmodels 0.15: the cluster-robust variance of a mean (OLS on a constant, cov_type="cluster") is the same
# linearisation; its correction (n − 1)/(n − 1) · K/(K − 1) is ours.
def test_variance_agrees_with_a_cluster_robust_mean():
    y = np.concatenate([np.repeat([1.0, 0.0], [x, n - x]) for x, n in zip(YES, SIZES, strict=True)])
    fit = sm.OLS(y, np.ones(y.size)).fit(
        cov_type="cluster", cov_kwds={"groups": np.repeat(np.arange(15), SIZES)}
    )
    assert clustered_proportion(YES, SIZES).variance[0] == pytest.approx(fit.cov_params().item(), rel=1e-10)


# Kish, Survey Sampling (1965): with clusters of equal size m and intra-cluster correlation ρ, deff = 1 + (m − 1)ρ.
# Clusters all alike or all different inside are its two ends: ρ = 1 gives m, and equal clusters give 0.
def test_design_effect_at_both_ends_of_kish():
    all_alike = clustered_proportion([40] * 50 + [0] * 50, [40] * 100)
    assert all_alike.design_effect[0] == pytest.approx(40 * 100 / 99, rel=1e-12)
    assert clustered_proportion([10] * 100, [40] * 100).design_effect[0] == pytest.approx(0, abs=1e-12)
