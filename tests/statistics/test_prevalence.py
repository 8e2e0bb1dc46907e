from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.measures import AGE_GROUPS, AGE_TOTALS, BANDINGS
from pipeline.statistics.clustered_proportion import jackknifed_proportion, korn_graubard_interval
from pipeline.statistics.prevalence import prevalence_table
from pipeline.statistics.proportion_interval import wilson_interval
from pipeline.statistics.published_proportion import ONE_SITE, WILSON, korn_graubard

GROUPS = [*AGE_GROUPS, *AGE_TOTALS]
VISCERAL, ADULT = BANDINGS["visceral_fat"], BANDINGS["bmi_adult"]
SCHEMA = {
    "site": pl.String,
    "period": pl.String,
    "sex": pl.String,
    "age": pl.Int16,
    "banding": pl.String,
    "band": pl.String,
    "n": pl.Int64,
}
COLUMNS = [
    "banding",
    "band",
    "population",
    "site",
    "period",
    "sex",
    "age_from",
    "age_to",
    "n",
    "denominator",
    "proportion",
    "low",
    "high",
    "design_effect",
    "method",
    "flag",
]


def tally_of(*rows):
    return pl.DataFrame(rows, orient="row", schema=SCHEMA)


TALLY = tally_of(
    ("east-pier", "2025Q1", "female", 34, "visceral_fat", "usual", 8),
    ("east-pier", "2025Q1", "female", 34, "visceral_fat", "excess", 2),
    ("north-quay", "2025Q1", "male", 36, "visceral_fat", "usual", 5),
    ("north-quay", "2025Q2", "male", 61, "visceral_fat", "excess", 1),
)


def test_a_prevalence_is_the_band_out_of_everyone_banded():
    table = prevalence_table(TALLY, [VISCERAL], GROUPS)
    assert table.columns == COLUMNS
    row = table.row(
        by_predicate=(pl.col("band") == "excess")
        & pl.col("site").is_null()
        & (pl.col("sex") == "all")
        & (pl.col("period") == "2025Q1")
        & (pl.col("age_from") == 30),
        named=True,
    )
    sites = jackknifed_proportion([2, 0], [10, 5])  # without the one 0 of 5, without the other 2 of 10; of all 2/15
    assert sites.variance == pytest.approx([1 / 2 * ((2 / 15) ** 2 + (2 / 10 - 2 / 15) ** 2)])
    assert sites.design_effect == pytest.approx([1.44231], abs=1e-5)
    low, high = korn_graubard_interval(replace(sites, design_effect=np.array([1.5])))
    assert row == {
        "banding": "visceral_fat",
        "band": "excess",
        "population": "all",
        "site": None,
        "period": "2025Q1",
        "sex": "all",
        "age_from": 30,
        "age_to": 39,
        "n": 2,
        "denominator": 15,
        "proportion": 2 / 15,
        "low": low[0],
        "high": high[0],
        "design_effect": 1.5,
        "method": korn_graubard(2),
        "flag": "unreliable",
    }


def test_a_sites_own_row_has_the_score_interval_and_no_design_effect():
    row = prevalence_table(TALLY, [VISCERAL], [(30, 39)]).row(
        by_predicate=(pl.col("site") == "east-pier") & (pl.col("band") == "excess") & (pl.col("sex") == "all"),
        named=True,
    )
    low, high = wilson_interval([2], [10])
    assert (row["low"], row["high"], row["design_effect"], row["method"]) == (low[0], high[0], None, WILSON)


def test_where_one_site_measured_the_interval_is_its_own_and_says_so():
    row = prevalence_table(TALLY, [VISCERAL], GROUPS).row(
        by_predicate=(pl.col("period") == "2025Q2")
        & (pl.col("band") == "excess")
        & (pl.col("population") == "all")
        & (pl.col("sex") == "all")
        & (pl.col("age_from") == 60),
        named=True,
    )
    low, high = wilson_interval([1], [1])
    assert (row["low"], row["high"], row["design_effect"], row["method"]) == (low[0], high[0], None, ONE_SITE)


def test_a_band_with_nobody_in_a_group_with_people_is_a_zero():
    table = prevalence_table(TALLY, [VISCERAL], [(30, 39)])
    row = table.row(
        by_predicate=(pl.col("site") == "north-quay")
        & (pl.col("band") == "excess")
        & (pl.col("sex") == "male"),
        named=True,
    )
    assert (row["n"], row["denominator"], row["proportion"], row["low"]) == (0, 5, 0.0, 0.0)
    assert row["high"] == pytest.approx(wilson_interval([0], [5])[1][0])


def test_a_group_with_nobody_has_no_rows():
    table = prevalence_table(TALLY, [VISCERAL], GROUPS)
    assert table.filter(pl.col("denominator") < 1).is_empty()
    assert table.filter((pl.col("site") == "north-quay") & (pl.col("sex") == "female")).is_empty()
    assert set(table.filter(pl.col("period") == "2025Q2")["age_from"]) == {60, 20}


def test_rows_follow_the_registry_then_population_site_period_sex_and_age():
    both = pl.concat([TALLY, tally_of(("east-pier", "2025Q1", "female", 34, "bmi_adult", "obesity_3", 1))])
    table = prevalence_table(both, list(BANDINGS.values()), GROUPS)
    band_order = {
        (banding.name, band.name): (i, j)
        for i, banding in enumerate(BANDINGS.values())
        for j, band in enumerate(banding.bands)
    }
    keys = [(*band_order[r[0], r[1]], r[2], r[3] or "", *r[4:8]) for r in table.rows()]
    assert keys == sorted(keys)
    assert len(set(keys)) == len(keys)


def test_a_banding_that_is_not_asked_for_is_left_out():
    both = pl.concat([TALLY, tally_of(("east-pier", "2025Q1", "female", 34, "bmi_adult", "normal", 1))])
    assert_frame_equal(
        prevalence_table(both, [VISCERAL], GROUPS), prevalence_table(TALLY, [VISCERAL], GROUPS)
    )


def test_no_tally_gives_the_columns_and_no_rows():
    table = prevalence_table(tally_of(), [VISCERAL], GROUPS)
    assert table.columns == COLUMNS
    assert table.is_empty()


@pytest.mark.parametrize(("age", "band"), [(30, "obsolete"), (19, "normal")])
def test_a_band_or_an_age_that_the_banding_does_not_have_is_refused(age, band):
    with pytest.raises(ValueError, match=f"banding bmi_adult has people in band {band} at age {age}"):
        prevalence_table(tally_of(("a", "2025Q1", "male", age, "bmi_adult", band, 1)), [ADULT], GROUPS)


ROWS = st.lists(
    st.tuples(
        st.sampled_from(["a", "b", "c"]),
        st.sampled_from(["2025Q1", "2025Q2"]),
        st.sampled_from(["female", "male"]),
        st.integers(20, 99),
        st.just("bmi_adult"),
        st.sampled_from([band.name for band in ADULT.bands]),
        st.integers(1, 30),
    ),
    max_size=25,
)


@given(ROWS)
def test_bands_add_up_to_the_denominator_and_sites_to_all(rows):
    table = prevalence_table(tally_of(*rows), [ADULT], GROUPS)
    group = ["population", "site", "period", "sex", "age_from", "age_to", "denominator"]
    sums = table.group_by(group).agg(pl.col("n").sum(), pl.col("proportion").sum())
    assert (sums["n"] == sums["denominator"]).all()
    assert sums["proportion"].to_list() == pytest.approx([1] * sums.height)
    key = ["band", "period", "sex", "age_from", "age_to"]
    by_site = table.filter(pl.col("population") == "site").group_by(key).agg(pl.col("n", "denominator").sum())
    whole = table.filter(pl.col("population") == "all").select(*key, "n", "denominator")
    assert_frame_equal(by_site.sort(key), whole.sort(key))


@given(ROWS, st.randoms())
def test_the_order_of_rows_does_not_change_a_byte(rows, random):
    shuffled = list(rows)
    random.shuffle(shuffled)
    assert (
        prevalence_table(tally_of(*shuffled), [ADULT], GROUPS).write_csv()
        == prevalence_table(tally_of(*rows), [ADULT], GROUPS).write_csv()
    )


@given(ROWS)
def test_relabelling_sites_changes_nothing_but_the_label(rows):
    other = {"a": "z", "b": "b", "c": "k"}
    renamed = prevalence_table(tally_of(*((other[r[0]], *r[1:]) for r in rows)), [ADULT], GROUPS)
    plain = prevalence_table(tally_of(*rows), [ADULT], GROUPS).with_columns(pl.col("site").replace(other))
    assert_frame_equal(renamed.sort(pl.all()), plain.sort(pl.all()))
