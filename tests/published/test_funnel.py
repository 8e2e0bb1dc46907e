"""Funnel limits and overdispersion."""

import numpy as np
import pytest
from scipy.stats import binom

from pipeline.statistics.funnel import SHARES, exact_limits
from pipeline.statistics.overdispersion import overdispersion


# Spiegelhalter (2005) Stat Med 24:1185-1202, appendix (formula from memory); θ = 0.25; figures by R 4.2.2.
@pytest.mark.parametrize(
    ("people", "limits"),
    [(50, [0.066233, 0.124337, 0.365040, 0.440498]), (100, [0.119567, 0.162355, 0.332323, 0.385607])],
)
def test_exact_limits(people, limits):
    assert exact_limits(0.25, [people])[0] == pytest.approx(limits, abs=5e-7)


# scipy 1.17 binom.ppf brackets the interpolated limit: it lies within the last whole count before the quantile.
def test_exact_limits_lie_within_one_count_of_the_binomial_quantile():
    people = np.array([1, 5, 20, 333, 10_000, 1_000_000])
    for target in (0.02, 0.25, 0.9):
        quantile = binom.ppf(SHARES, people[:, None], target) / people[:, None]
        limit = exact_limits(target, people)
        assert np.all(limit <= quantile + 1e-12)
        assert np.all(limit >= np.maximum(quantile - 1 / people[:, None], 0) - 1e-12)


# Spiegelhalter (2005) Qual Saf Health Care 14:347-351; twelve constructed sites, R 4.2.2, quantile type 7.
COUNT = np.array([18, 30, 25, 61, 40, 22, 75, 33, 12, 90, 28, 47])
PEOPLE = np.array([80, 150, 90, 210, 190, 120, 260, 110, 70, 300, 95, 160])


def test_overdispersion_of_twelve_sites():
    target = COUNT.sum() / PEOPLE.sum()
    error = np.sqrt(target * (1 - target) / PEOPLE)
    found = overdispersion(COUNT / PEOPLE, target, error)
    assert target == pytest.approx(0.26212534, abs=5e-9)
    assert found.scores == pytest.approx(
        [
            -0.75504,
            -1.73009,
            0.33764,
            0.93418,
            -1.61723,
            -1.96258,
            0.96559,
            0.90323,
            -1.72542,
            1.49164,
            0.72275,
            0.90958,
        ],
        abs=5e-6,
    )
    assert (found.winsorised.min(), found.winsorised.max()) == pytest.approx((-1.729623, 0.962451), abs=5e-7)
    assert np.mean(found.scores**2) == pytest.approx(1.609758, abs=5e-7)
    assert found.factor == pytest.approx(1.429220, abs=5e-7)
