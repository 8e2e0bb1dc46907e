import numpy as np
import pytest
from lms_truth import inside_family, inside_family_at, mixture, mixture_at

from pipeline.statistics import lms
from pipeline.statistics.curve_choice import LEAST_PEOPLE, LEAST_YEARS, choose_curves

PERCENTS = [3, 5, 10, 25, 50, 75, 85, 90, 95, 97]
INNER = np.arange(20, 88)


@pytest.mark.parametrize("people", [1000, 5000, 25_000, 200_000])
def test_lms_curves_are_published_where_their_family_holds(people):
    for seed in range(3):
        choice = choose_curves(*inside_family(people, seed), PERCENTS)
        assert choice.published == "lms", choice.why
        assert np.array_equal(choice.value_at(INNER, PERCENTS), choice.lms.value_at(INNER, PERCENTS))


@pytest.mark.parametrize("people", [5000, 25_000, 200_000])
def test_a_20_80_mixture_is_not_published_from_the_family(people):
    for seed in range(3):
        choice = choose_curves(*mixture(people, seed), PERCENTS)
        assert choice.published == "regression_quantile", choice.why
        published, refused, truth = (
            choice.value_at(INNER, PERCENTS),
            choice.lms.value_at(INNER, PERCENTS),
            mixture_at(INNER, PERCENTS),
        )
        assert np.abs(published - truth).mean() < np.abs(refused - truth).mean() / 2
        assert "the family does not hold: at percentile" in choice.why


def test_a_fit_that_does_not_settle_is_not_published_and_the_reason_claims_no_more(monkeypatch):
    monkeypatch.setattr(lms, "_MOST_STEPS", 3)
    choice = choose_curves(*inside_family(3000), PERCENTS)
    assert choice.published == "regression_quantile"
    assert choice.why == "LMS curves do not settle, as outside their family: no convergence in 3 scoring steps"


def test_published_curves_never_cross():
    for population in (inside_family, mixture):
        curves = choose_curves(*population(5000), PERCENTS).value_at(INNER, PERCENTS)
        assert np.all(np.diff(curves, axis=1) >= 0)


def test_one_person_fewer_than_needed_draws_no_curve_and_says_why():
    age, value, n = inside_family(3000)
    age, value = np.repeat(age, n), np.repeat(value, n)
    picked = np.random.default_rng(0).permutation(age.size)[:LEAST_PEOPLE]
    assert choose_curves(age[picked], value[picked], np.ones(LEAST_PEOPLE), PERCENTS).published != "none"
    fewer = picked[1:]
    choice = choose_curves(age[fewer], value[fewer], np.ones(LEAST_PEOPLE - 1), PERCENTS)
    assert choice.published == "none"
    assert choice.why == f"too few people: under {LEAST_PEOPLE}"
    assert np.isnan(choice.value_at(INNER, PERCENTS)).all()


def test_one_year_fewer_than_needed_draws_no_curve_and_says_why():
    enough = choose_curves(*inside_family(2000, ages=(30, 30 + LEAST_YEARS)), PERCENTS)
    narrow = choose_curves(*inside_family(2000, ages=(30, 29 + LEAST_YEARS)), PERCENTS)
    assert enough.published == "lms"
    assert narrow.published == "none"
    assert narrow.why == f"too narrow a span of ages: under {LEAST_YEARS} years"


def test_a_percentile_that_was_not_fitted_is_refused():
    choice = choose_curves(*mixture(5000), PERCENTS)
    with pytest.raises(ValueError, match="percent 40 was not fitted"):
        choice.value_at(INNER, [40])


def test_values_at_or_below_0_are_left_to_the_regression_quantiles():
    age, value, n = inside_family(5000)
    choice = choose_curves(age, value - 22, n, PERCENTS)
    assert choice.published == "regression_quantile"
    assert choice.why == "values at or below 0 lie outside the family"
    assert np.isfinite(choice.value_at(INNER, PERCENTS)).all()


# Whole levels from about 6 to 18: without its step the curves would be compared stair by stair.
def test_a_coarse_print_step_is_not_taken_for_a_misfit():
    age, value, n = inside_family(20_000)
    level = np.round(value / 2)
    assert choose_curves(age, level, n, PERCENTS, step=1.0).published == "lms"
    assert choose_curves(age, level, n, PERCENTS).published == "regression_quantile"
    curves = choose_curves(age, level, n, PERCENTS, step=1.0).value_at(INNER, [50])
    assert curves == pytest.approx(inside_family_at(INNER, [50]) / 2, abs=0.15)
