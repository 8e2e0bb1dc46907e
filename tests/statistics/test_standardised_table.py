"""Standardised prevalence over invented tallies: weights, merging, and what it must give back."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measures import AGE_GROUPS, AGE_TOTALS, BANDINGS
from pipeline.statistics.standard_strata import (
    LEAST_IN_STRATUM,
    group_weights,
    merged_strata,
    standardised_groups,
)
from pipeline.statistics.standardised_table import standardised_table

VISCERAL, FAT = BANDINGS["visceral_fat"], BANDINGS["body_fat"]
SCHEMA = ["site", "period", "sex", "age", "banding", "band", "n"]
GROUPS, TOTALS = [(20, 39), (40, 59), (60, 99)], [(20, 99)]


def bands_of(weights: dict[str, float]) -> pl.DataFrame:
    return pl.DataFrame({"standard": "own", "age_band": list(weights), "weight": list(weights.values())})


def tally_of(cells: dict[tuple[str, str, int], tuple[int, int]]) -> pl.DataFrame:
    """(site, sex, age) → (in excess, measured)."""
    rows = []
    for (site, sex, age), (count, people) in cells.items():
        rows += [(site, "2025Q1", sex, age, "visceral_fat", "excess", count)]
        rows += [(site, "2025Q1", sex, age, "visceral_fat", "usual", people - count)]
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def found(tally, weights, sex="all", site=None, band="excess"):
    table = standardised_table(tally, [VISCERAL], GROUPS, TOTALS, "own", bands_of(weights))
    of_site = pl.col("site").is_null() if site is None else pl.col("site") == site
    return table.filter(of_site & (pl.col("sex") == sex) & (pl.col("band") == band)).row(0, named=True)


TWO_SITES = {
    ("east-pier", "female", 25): (3, 30), ("east-pier", "female", 45): (10, 40), ("east-pier", "female", 70): (9, 20),
    ("east-pier", "male", 25): (6, 50), ("east-pier", "male", 45): (12, 30), ("east-pier", "male", 70): (12, 24),
    ("north-quay", "female", 25): (8, 60), ("north-quay", "female", 45): (9, 50), ("north-quay", "female", 70): (4, 12),
    ("north-quay", "male", 25): (5, 44), ("north-quay", "male", 45): (15, 36), ("north-quay", "male", 70): (7, 16),
}  # fmt: skip


def test_of_one_sex_it_is_the_weighted_mean_of_the_published_age_groups():
    row = found(tally_of(TWO_SITES), {"20-39": 50, "40-59": 30, "60+": 20}, "female")
    assert row["proportion"] == pytest.approx(0.5 * 11 / 90 + 0.3 * 19 / 90 + 0.2 * 13 / 32)
    assert (row["n"], row["denominator"]) == (43, 212)
    assert row["person_weight"] == pytest.approx(0.2 / 32)
    assert "3 of 3 age groups" in row["method"]


def test_of_both_sexes_women_and_men_weigh_the_same_in_every_age_group():
    weights = {"20-39": 50, "40-59": 30, "60+": 20}
    tally = tally_of(TWO_SITES)
    halves = [found(tally, weights, sex)["proportion"] for sex in ("female", "male")]
    assert found(tally, weights)["proportion"] == pytest.approx(np.mean(halves))
    assert found(tally, weights)["method"].endswith("women and men alike")


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(LEAST_IN_STRATUM, 60)), min_size=6, max_size=6))
@settings(deadline=None)
def test_standardising_to_the_cohorts_own_structure_returns_the_crude_share(drawn):
    keys = [("a", "female", 25), ("a", "female", 45), ("a", "female", 70)]
    keys += [("b", sex, age) for _, sex, age in keys]
    cells = {key: (min(k, n), n) for key, (k, n) in zip(keys, drawn, strict=True)}
    tally = tally_of(cells).filter(pl.col("n") > 0)
    people = {b: sum(n for (_, _, a), (_, n) in cells.items() if a == age) for b, age in
              (("20-39", 25), ("40-59", 45), ("60+", 70))}  # fmt: skip
    row = found(tally, people, "female", band="usual")
    assert row["proportion"] == pytest.approx(row["n"] / row["denominator"])
    assert row["low"] <= row["proportion"] <= row["high"]


def test_the_bands_of_a_group_add_up_to_one():
    weights = bands_of({"20-39": 1, "40-59": 1, "60+": 1})
    table = standardised_table(tally_of(TWO_SITES), [VISCERAL], GROUPS, TOTALS, "own", weights)
    sums = table.group_by("population", "site", "sex").agg(pl.col("proportion").sum())
    assert sums["proportion"].to_list() == pytest.approx([1] * 9)


def test_an_age_group_with_few_people_joins_the_next_younger():
    few = LEAST_IN_STRATUM - 1
    assert merged_strata(np.array([[50, 40, few]])).tolist() == [0, 1, 1]
    assert merged_strata(np.array([[50, few, LEAST_IN_STRATUM]])).tolist() == [0, 0, 1]
    assert merged_strata(np.array([[few, 50, 50]])).tolist() == [0, 0, 1]  # the youngest joins the next older
    assert merged_strata(np.array([[50, 50], [50, few]])).tolist() == [0, 0]  # either sex may be few
    assert merged_strata(np.array([[1, 2, 3]])) is None


def test_a_sex_that_is_all_but_absent_has_no_row_and_takes_both_sexes_along():
    men = {key: value for key, value in TWO_SITES.items() if key[1] == "male"}
    weights = bands_of({"20-39": 1, "40-59": 1, "60+": 1})
    table = standardised_table(tally_of(men), [VISCERAL], GROUPS, TOTALS, "own", weights)
    assert set(table["sex"]) == {"male"}


def test_an_empty_tally_gives_the_columns_and_no_rows():
    weights = bands_of({"20-39": 1, "40-59": 1, "60+": 1})
    table = standardised_table(tally_of({}), [VISCERAL], GROUPS, TOTALS, "own", weights)
    assert table.is_empty() and table.columns[-1] == "person_weight"


def test_strata_are_the_published_age_groups_narrowed_to_the_banding():
    [(total, strata)] = standardised_groups(FAT, AGE_GROUPS, AGE_TOTALS)
    assert (total, strata[0], strata[-1]) == ((20, 99), (20, 29), (70, 79))
    [(total, strata)] = standardised_groups(BANDINGS["bmi_child"], AGE_GROUPS, AGE_TOTALS)
    assert (total, strata) == ((5, 19), [(5, 9), (10, 14), (15, 19)])


@pytest.mark.parametrize(
    ("weights", "message"),
    [
        ({"20-49": 1, "50+": 1}, "the age group 20 to 39 would split its band 20-49"),
        ({"15-24": 1, "25-39": 1, "40-59": 1, "60+": 1}, "has the band 15-24; ages 20 to 99 would split it"),
        ({"20-39": 1, "45-59": 1, "60+": 1}, "age 40 stands in no band or in two"),
        ({"20-39": 1, "40-59": 1, "60-79": 1}, "age 80 stands in no band"),
        ({"20-39": 1, "30-39": 1, "40-59": 1, "60+": 1}, "age 30 stands in no band or in two"),
        ({"20-39": 0, "40-59": 0, "60+": 0}, "add to 0|add to|no weight"),
    ],
)
def test_a_standard_that_does_not_fit_is_refused(weights, message):
    with pytest.raises(ValueError, match=message):
        group_weights(bands_of(weights), GROUPS)
