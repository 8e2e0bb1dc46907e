"""The function of (measure, sex, age, value), both directions, from published curves alone."""

import numpy as np
import polars as pl
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from lms_truth import inside_family, mixture
from scipy.special import ndtri

from pipeline.measures import MEASURES, PERCENTILES
from pipeline.statistics.box_cox_cole_green import value_at_z, z_score
from pipeline.statistics.curve_table import percentile_curve_rows
from pipeline.statistics.fitted_curve import fit_curve
from pipeline.statistics.individual_position import CurveAtAge, curve_at, individual_positions

PERCENTS = np.array(PERCENTILES, dtype=float)


def fitted(population, sex):
    age, value, n = population
    steps = np.rint(value * 10).astype(int)
    order = np.lexsort((steps, age))
    return fit_curve(MEASURES["bmi"], sex, age[order].astype(int), steps[order], n[order], PERCENTILES)


@pytest.fixture(scope="module")
def fits():
    """Women inside the LMS family, men outside it: 20/80 mixtures are published as regression quantiles."""
    found = {"female": fitted(inside_family(20_000), "female"), "male": fitted(mixture(20_000), "male")}
    assert [fit.choice.published for fit in found.values()] == ["lms", "regression_quantile"]
    return found


@pytest.fixture(scope="module")
def curves(fits):
    return pl.concat(percentile_curve_rows(fit, [], PERCENTILES) for fit in fits.values())


# The fit itself, before its percentiles are rounded to a tenth of a print step.
@pytest.mark.parametrize("age", [6, 14, 35, 60, 85])
def test_lms_scores_are_those_of_the_fit_also_beyond_the_outermost_percentile(fits, curves, age):
    fit = fits["female"].choice.lms
    z = np.array([-3, -2, -1, -0.2, 0, 0.7, 1.5, 2.5, 3.5])
    value = value_at_z(z, *(part[0] for part in fit.lms([age])))
    found = curve_at(curves, "bmi", "female", age).z_score(value)
    assert found == pytest.approx(z, abs=0.02)
    assert found[2:7] == pytest.approx(z[2:7], abs=0.005)


def test_regression_quantiles_are_met_and_nothing_is_said_beyond_them(curves):
    curve = curve_at(curves, "bmi", "male", 50)
    assert not curve.is_lms
    assert curve.percentile_of(curve.values) == pytest.approx(PERCENTS, abs=1e-9)
    assert curve.value_at(PERCENTS) == pytest.approx(curve.values, rel=1e-12)
    beyond = [curve.values[0] - 0.01, curve.values[-1] + 0.01]
    assert np.isnan(curve.z_score(beyond)).all()
    assert np.isnan(curve.value_at([2.9, 97.1])).all()
    assert np.all(np.diff(curve.percentile_of(np.linspace(*curve.values[[0, -1]], 200))) > 0)


@given(st.floats(-2, 2), st.floats(1, 200), st.floats(0.02, 0.25), st.floats(3, 97))
@example(0.0, 97.0, 0.021484375, 97.0)  # rounding carries the 97th percentile past itself
def test_both_directions_agree(l, m, s, percent):
    z = ndtri(PERCENTS / 100)
    lms = CurveAtAge(PERCENTS, value_at_z(z, l, m, s), True)
    between = CurveAtAge(PERCENTS, lms.values, False)
    assert lms.percentile_of(lms.value_at(percent)) == pytest.approx(percent, abs=1e-6)
    assert between.percentile_of(between.value_at(percent)) == pytest.approx(percent, abs=0.5)
    assert lms.value_at(percent)[0] == pytest.approx(value_at_z(ndtri(percent / 100), l, m, s), rel=1e-5)


@given(st.floats(-2, 2), st.floats(0.02, 0.25))
def test_scores_rise_with_the_value(l, s):
    curve = CurveAtAge(PERCENTS, value_at_z(ndtri(PERCENTS / 100), l, 25, s), True)
    assert np.all(np.diff(curve.z_score(np.linspace(12, 60, 100))) > 0)


def test_a_table_of_people_keeps_its_rows_and_their_order(curves):
    people = pl.DataFrame(
        {
            "who": ["a", "b", "c", "d"],
            "measure": ["bmi"] * 4,
            "sex": ["male", "female", "female", "male"],
            "age": [50, 30, 101, 50],
            "value": [26.0, 24.0, 24.0, 60.0],
        }
    )
    found = individual_positions(curves, people)
    assert found.drop("z", "percentile").equals(people)
    assert found["z"].is_null().to_list() == [False, False, True, True]  # no such age; beyond the last percentile
    back = individual_positions(curves, found.drop_nulls().drop("value", "z"))
    assert back["value"].to_list() == pytest.approx([26.0, 24.0], abs=0.05)
    assert individual_positions(curves, people.clear()).columns == [*people.columns, "z", "percentile"]


@pytest.mark.parametrize("columns", [[], ["value", "percentile"]])
def test_either_the_value_or_the_percentile_is_asked_for(curves, columns):
    person = {"measure": ["bmi"], "sex": ["female"], "age": [30]}
    with pytest.raises(ValueError, match="either value or percentile"):
        individual_positions(curves, pl.DataFrame(person | {name: [50.0] for name in columns}))


@pytest.mark.parametrize("percent", [0, 100])
def test_the_ends_are_no_percentile(percent):
    with pytest.raises(ValueError, match="between 0 and 100"):
        CurveAtAge(PERCENTS, PERCENTS, True).value_at(percent)


# Disclosure control withholds outer percentiles where few people are near, and whole ages.
def test_withheld_percentiles_leave_what_the_others_tell(curves):
    whole = curve_at(curves, "bmi", "female", 40)
    inner = curve_at(curves.filter(pl.col("percentile").is_between(25, 75)), "bmi", "female", 40)
    assert inner.percents.tolist() == [25, 50, 75]
    assert inner.z_score(whole.values) == pytest.approx(ndtri(PERCENTS / 100), abs=0.15)
    assert inner.z_score(whole.values[3:6]) == pytest.approx(ndtri(PERCENTS[3:6] / 100), abs=0.01)
    two = curve_at(curves.filter(pl.col("percentile").is_between(25, 50)), "bmi", "female", 40)
    assert np.isnan(two.z_score([25.0])).all() and np.isnan(two.value_at([50])).all()
    no_median = curve_at(curves.filter(pl.col("percentile") != 50), "bmi", "female", 40)
    assert no_median.z_score(whole.values[[0, -1]]) == pytest.approx(ndtri(PERCENTS[[0, -1]] / 100), abs=1e-9)


def test_a_value_that_is_not_above_0_has_no_score():
    curve = CurveAtAge(PERCENTS, value_at_z(ndtri(PERCENTS / 100), -0.5, 25, 0.15), True)
    assert np.isnan(curve.z_score([0, -3])).all()
    assert curve.z_score([25])[0] == pytest.approx(z_score(25, -0.5, 25, 0.15), abs=1e-6)
