"""The trend over periods against another program's logistic regression."""

import numpy as np
import pytest
import statsmodels.api as sm

from pipeline.statistics.trend import trend_over_periods

SITES, PERIODS, STRATA = 20, 6, 3


def cells(seed=0, slope=0.08):
    random = np.random.default_rng(seed)
    site, period, stratum = (
        a.ravel() for a in np.meshgrid(np.arange(SITES), np.arange(PERIODS), np.arange(STRATA))
    )
    log_odds = -1 + 0.4 * stratum + slope * period + random.normal(0, 0.3, SITES)[site]
    people = random.integers(20, 80, site.size)
    return random.binomial(people, 1 / (1 + np.exp(-log_odds))), people, period, site, stratum


def refit(count, people, period, stratum):
    design = np.column_stack([period, stratum[:, None] == np.unique(stratum)]).astype(float)
    return sm.GLM(np.column_stack([count, people - count]), design, family=sm.families.Binomial()).fit(
        tol=1e-12
    )


# statsmodels 0.15, GLM(Binomial) on period and stratum: the same maximum.
def test_the_slope_agrees_with_statsmodels():
    count, people, period, site, stratum = cells()
    found = trend_over_periods(count, people, period, site, stratum)
    other = refit(count, people, period, stratum)
    assert found.slope == pytest.approx(other.params[0], abs=1e-8)
    assert found.odds_ratio == pytest.approx(np.exp(other.params[0]), rel=1e-8)
    assert found.points_a_period == pytest.approx(
        np.average(other.params[0] * other.mu * (1 - other.mu), weights=people), rel=1e-8
    )


# statsmodels 0.15: the model refitted with each site left out in turn, Tukey's jackknife.
def test_the_standard_error_agrees_with_refitting_without_each_site():
    count, people, period, site, stratum = cells()
    slopes = np.array(
        [
            refit(count[k], people[k], period[k], stratum[k]).params[0]
            for k in (site != left_out for left_out in range(SITES))
        ]
    )
    whole = refit(count, people, period, stratum).params[0]
    jackknife = np.sqrt((SITES - 1) / SITES * np.sum((slopes - whole) ** 2))
    assert trend_over_periods(count, people, period, site, stratum).standard_error == pytest.approx(
        jackknife, rel=0.01
    )


# statsmodels 0.15, cov_type="cluster" without correction: the plain sandwich, which is too small with few sites.
def test_the_standard_error_lies_a_little_above_the_plain_sandwich():
    count, people, period, site, stratum = cells()
    design = np.column_stack([period, stratum[:, None] == np.unique(stratum)]).astype(float)
    plain = (
        sm.GLM(np.column_stack([count, people - count]), design, family=sm.families.Binomial())
        .fit(cov_type="cluster", cov_kwds={"groups": site, "use_correction": False})
        .bse[0]
    )
    assert 1.0 < trend_over_periods(count, people, period, site, stratum).standard_error / plain < 1.15
