"""Fitted curves → rows: spans, bands, reasons, diagnostics."""

import numpy as np
import polars as pl
import pytest
from lms_truth import inside_family

from pipeline.measures import AGE_GROUPS, MEASURES, PERCENTILES
from pipeline.statistics.curve_table import (
    DIAGNOSTIC_SCHEMA,
    PERCENTILE_SCHEMA,
    curve_row,
    diagnostic_rows,
    percentile_curve_rows,
)
from pipeline.statistics.fitted_curve import fit_curve

WEIGHT = MEASURES["weight"]


def invented(people=6000, seed=1):
    """Value counts of one sex in whole print steps."""
    age, value, n = inside_family(people, seed)
    steps = np.rint(np.asarray(value) * WEIGHT.steps_per_unit).astype(int)
    frame = pl.DataFrame({"age": np.asarray(age, dtype=int), "steps": steps, "n": np.asarray(n, dtype=float)})
    cells = frame.group_by("age", "steps").agg(pl.col("n").sum()).sort("age", "steps")
    return (cells[name].to_numpy() for name in ("age", "steps", "n"))


@pytest.fixture(scope="module")
def curve():
    return fit_curve(WEIGHT, "female", *invented(), PERCENTILES)


@pytest.fixture(scope="module")
def sites(curve):
    """The people dealt out to ten sites at random."""
    random = np.random.default_rng(5)
    shares = random.multinomial(curve.n.astype(int), [0.1] * 10)
    return [curve.summed(curve.age, curve.value, shares[:, k].astype(float), PERCENTILES) for k in range(10)]


def test_the_scores_of_the_sites_add_up_to_those_of_all(curve, sites):
    whole = curve.parts_of_sites([curve.summed(curve.age, curve.value, curve.n, PERCENTILES)])[0].score
    added = np.sum([part.score for part in curve.parts_of_sites(sites)], axis=0)
    assert added == pytest.approx(whole, rel=1e-6, abs=1e-6 * curve.people)


def test_rows_stand_at_every_age_of_the_measure_whoever_is_there(curve, sites):
    rows = percentile_curve_rows(curve, sites, PERCENTILES)
    assert rows.schema == PERCENTILE_SCHEMA
    assert rows["age"].unique().to_list() == list(range(5, 100))
    assert rows.height == 95 * len(PERCENTILES)
    drawn = rows.drop_nulls("value")
    assert (drawn["low"] <= drawn["value"]).all() and (drawn["value"] <= drawn["high"]).all()
    at = drawn.filter(age=40).sort("percentile")
    exact = curve.choice.value_at([40], PERCENTILES)[0]
    assert at["value"].to_list() == pytest.approx(np.round(exact, 2).tolist(), abs=1e-9)
    assert at["value"].is_sorted()
    assert at["n"].unique().to_list() == [round(curve.n[(curve.age >= 38) & (curve.age <= 42)].sum())]
    assert drawn["method"].unique().to_list() == [
        "LMS on splines of age, smoothness by restricted likelihood; band from 10 sites as clusters"
    ]


def test_one_site_has_curves_without_a_band(curve, sites):
    rows = percentile_curve_rows(curve, sites[:1], PERCENTILES)
    assert rows["low"].null_count() == rows["high"].null_count() == rows.height
    assert rows["value"].null_count() < rows.height
    assert rows["method"][0].endswith("one site: no band")


def test_the_span_is_where_enough_people_are_near(curve):
    row = curve_row(curve, 250)
    near = dict(zip(curve.whole_ages.tolist(), curve.people_near().tolist(), strict=True))
    assert near[row[4]] >= 250 > near.get(row[4] - 1, 0)
    assert near[row[5]] >= 250
    ages = (curve.age.min(), curve.age.max())
    assert row[5] == ages[1] or near[row[5] + 1] < 250
    assert (row[:4], row[6]) == (("weight", "kg", "female", curve.people), "lms")


def test_too_few_people_give_the_reason_and_no_curve():
    few = fit_curve(WEIGHT, "male", *invented(200), PERCENTILES)
    row = curve_row(few, 30)
    assert row[4:8] == (None, None, "none", "too few people: under 400")
    assert percentile_curve_rows(few, [], PERCENTILES).is_empty()
    assert diagnostic_rows(few, AGE_GROUPS, PERCENTILES).is_empty()
    nobody = fit_curve(WEIGHT, "male", [], [], [], PERCENTILES)
    assert curve_row(nobody, 30)[3:8] == (0, None, None, "none", "too few people: under 400")


def test_values_at_or_below_zero_are_published_as_regression_quantiles_without_scores():
    age, steps, n = invented()
    shifted = fit_curve(MEASURES["bmi_z"], "male", 5 + age % 15, steps - 600, n, PERCENTILES)
    assert shifted.choice.published == "regression_quantile"
    halves = [
        shifted.summed(shifted.age[k::2], shifted.value[k::2], shifted.n[k::2], PERCENTILES) for k in (0, 1)
    ]
    rows = percentile_curve_rows(shifted, halves, PERCENTILES)
    drawn = rows.drop_nulls("value")
    assert drawn.height and (drawn["low"] <= drawn["value"]).all() and (drawn["value"] <= drawn["high"]).all()
    assert rows["method"][0].endswith("put in order where they cross; band from 2 sites as clusters")
    alone = percentile_curve_rows(shifted, halves[:1], PERCENTILES)
    assert alone["low"].null_count() == alone.height and alone["method"][0].endswith("; one site: no band")
    assert set(diagnostic_rows(shifted, AGE_GROUPS, PERCENTILES)["diagnostic"]) == {"share_below"}


def test_diagnostics_of_a_good_fit_stand_near_what_is_expected(curve):
    rows = diagnostic_rows(curve, AGE_GROUPS, PERCENTILES)
    assert rows.schema == DIAGNOSTIC_SCHEMA
    assert set(rows["diagnostic"]) == {"share_below", "worm", "q"}
    shares = rows.filter(diagnostic="share_below")
    is_covered = (shares["low"] <= shares["expected"]) & (shares["expected"] <= shares["high"])
    assert is_covered.mean() > 0.9
    middle = rows.filter((pl.col("diagnostic") == "worm") & (pl.col("at") == 0) & (pl.col("n") > 100))
    assert middle["observed"].abs().max() < 0.3
    moments = rows.filter((pl.col("diagnostic") == "q") & (pl.col("age_to") - pl.col("age_from") < 20))
    assert moments["at"].unique().to_list() == [1, 2, 3, 4]
    assert (moments["observed"].abs() < 4).all()
    keys = rows.select("age_from", "age_to", "diagnostic", "at")
    assert not keys.is_duplicated().any()
