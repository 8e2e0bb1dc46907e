from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lms_truth import inside_family, inside_family_at, mixture
from scipy.optimize import linprog
from sklearn.linear_model import QuantileRegressor

from pipeline.statistics import quantile_curve
from pipeline.statistics.age_spline import AgeSpline
from pipeline.statistics.quantile_curve import QuantileCurves, fit_quantile_curves

PERCENTS = [3, 25, 50, 75, 97]
INNER = np.arange(10, 88)


def check_loss(value, fitted, n, share):
    away = value - fitted
    return n @ np.where(away > 0, share * away, (share - 1) * away)


# The programme over every cell, nothing gathered, is the same optimum: the gathered one may only be faster.
@pytest.mark.parametrize("population", [inside_family, mixture])
def test_gathering_far_cells_reaches_the_optimum_over_all_cells(population):
    age, value, n = population(3000)
    found = fit_quantile_curves(age, value, n, PERCENTS)
    design = found.spline.basis(age)
    for percent, coefficients in zip(PERCENTS, found.coefficients, strict=True):
        share = percent / 100
        whole = QuantileRegressor(quantile=share, alpha=0, fit_intercept=False, solver="highs").fit(
            design, value, sample_weight=n / n.mean()
        )
        assert check_loss(value, design @ coefficients, n, share) == pytest.approx(
            check_loss(value, design @ whole.coef_, n, share), rel=1e-9
        )


@pytest.mark.parametrize(("seed", "percent"), [(70, 25), (71, 50)])
def test_ages_with_one_or_two_values_reach_the_optimum_too(seed, percent):
    """The rough lines that tell far cells from near ones cross there; a cell that is both must not count twice."""
    random = np.random.default_rng(seed)
    ages = np.arange(50, 94)[: random.integers(20, 45)]
    values = random.integers(1, 3, ages.size)
    age = np.repeat(ages, values)
    value = 166.0 + np.concatenate(
        [np.sort(random.choice(random.choice([2, 3, 6]), k, replace=False)) for k in values]
    )
    n = np.round(np.exp(random.normal(6, 1.5, age.size))) + 1
    found = fit_quantile_curves(age, value, n, [percent])
    design, share = found.spline.basis(age), percent / 100
    whole = QuantileRegressor(quantile=share, alpha=0, fit_intercept=False, solver="highs").fit(
        design, value, sample_weight=n / n.mean()
    )
    assert check_loss(value, design @ found.coefficients[0], n, share) == pytest.approx(
        check_loss(value, design @ whole.coef_, n, share), rel=1e-9
    )


def test_where_the_simplex_method_gives_up_interior_points_find_the_same_curve(monkeypatch):
    age, value, n = mixture(2000)
    expected = fit_quantile_curves(age, value, n, PERCENTS)

    def given_up(*programme, method, **of):
        found = linprog(*programme, method=method, **of)
        return SimpleNamespace(status=4, message="unknown") if method == "highs-ds" else found

    monkeypatch.setattr(quantile_curve, "linprog", given_up)
    found = fit_quantile_curves(age, value, n, PERCENTS)
    design = found.spline.basis(age)
    for percent, one, other in zip(PERCENTS, found.coefficients, expected.coefficients, strict=True):
        losses = [check_loss(value, design @ coefficients, n, percent / 100) for coefficients in (one, other)]
        assert losses[0] == pytest.approx(losses[1], rel=1e-9)
    monkeypatch.setattr(quantile_curve, "_SOLVERS", ("highs-ds",))
    with pytest.raises(ValueError, match="no regression quantile"):
        fit_quantile_curves(age, value, n, PERCENTS)


def test_curves_that_are_there_are_taken_over():
    age, value, n = mixture(2000)
    gate = fit_quantile_curves(age, value, n, [25, 50])
    found = fit_quantile_curves(age, value, n, PERCENTS, fitted=gate)
    assert found.percents.tolist() == PERCENTS
    assert np.array_equal(found.coefficients, fit_quantile_curves(age, value, n, PERCENTS).coefficients)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([1, 10, 50, 90, 99]), st.integers(60, 400))
def test_the_share_below_a_curve_is_the_share_asked_for(seed, percent, people):
    age, value, n = mixture(people, seed)
    found = fit_quantile_curves(age, value, n, [percent])
    fitted = (found.spline.basis(age) @ found.coefficients.T)[:, 0]
    strictly_below, not_above = n[value < fitted - 1e-7].sum(), n[value <= fitted + 1e-7].sum()
    assert strictly_below <= people * percent / 100 + 1e-6  # a property of any regression quantile with an
    assert not_above >= people * percent / 100 - 1e-6  # intercept: Koenker & Bassett (1978), theorem 3.4


def test_curves_come_back_from_a_known_truth():
    found = fit_quantile_curves(*inside_family(50_000), PERCENTS)
    error = np.abs(found.value_at(INNER) - inside_family_at(INNER, PERCENTS))
    assert error.mean() < 0.2
    assert error.max() < 1.2


def test_curves_that_cross_are_put_in_order():
    coefficients = np.array([[3.0] * 6 + [1.0] * 5, [2.0] * 11])
    crossing = QuantileCurves(AgeSpline(18, 89, 8), np.array([25.0, 75.0]), coefficients, 500)
    curves = crossing.value_at(np.arange(20, 89))
    assert np.all(np.diff(curves, axis=1) >= 0)
    assert np.ptp(curves[:, 0]) > 0.5


def test_ages_outside_the_fit_have_no_curve():
    found = fit_quantile_curves(*mixture(500), PERCENTS)
    assert np.isnan(found.value_at([17])).all()


def test_cells_without_people_do_not_count():
    age, value, n = mixture(500)
    more = fit_quantile_curves(np.append(age, 40), np.append(value, 1e6), np.append(n, 0), [50])
    assert more.value_at(INNER[10:]) == pytest.approx(
        fit_quantile_curves(age, value, n, [50]).value_at(INNER[10:])
    )


@pytest.mark.parametrize(
    ("n", "percents", "message"),
    [
        ([1, 1, 1, 1, -1], [50], "a count of -1"),
        ([1] * 5, [100], "numbers between 0 and 100"),
        ([1] * 5, [0], "numbers between 0 and 100"),
        ([1, 1, 1, 0, 0], [50], "3 different ages"),
    ],
)
def test_cells_that_cannot_be_fitted_are_refused(n, percents, message):
    with pytest.raises(ValueError, match=message):
        fit_quantile_curves([20, 30, 40, 50, 60], [1, 2, 3, 4, 5], n, percents)
