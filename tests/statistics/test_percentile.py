import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.measures import AGE_GROUPS, AGE_TOTALS, MEASURES, PERCENTILES
from pipeline.statistics.percentile import (
    METHOD,
    people_below,
    percentile_rows,
    percentiles_of,
    percentiles_of_people,
)

GROUPS = [*AGE_GROUPS, *AGE_TOTALS]
ALL_MEASURES = tuple(MEASURES.values())
SCHEMA = {
    "period": pl.String,
    "sex": pl.String,
    "age": pl.Int16,
    "measure": pl.String,
    "value": pl.Int32,
    "n": pl.Int64,
}
COLUMNS = [
    "measure",
    "unit",
    "site",
    "period",
    "sex",
    "age_from",
    "age_to",
    "percentile",
    "value",
    "low",
    "high",
    "n",
    "method",
    "flag",
]


def table_of(rows, site=None, measures=ALL_MEASURES):
    tally = pl.DataFrame(rows, orient="row", schema=SCHEMA)
    tally = tally.with_columns(site=pl.lit(site)) if site is not None else tally
    return percentile_rows(percentiles_of(tally, measures, GROUPS, PERCENTILES))


ROWS = [("2025Q1", "female", 30 + i % 10, "weight", 600 + 7 * i % 90, 1 + i % 3) for i in range(60)]


def test_a_percentile_carries_its_unit_people_limits_and_method():
    row = table_of(ROWS).row(
        by_predicate=(pl.col("percentile") == 50) & (pl.col("sex") == "female") & (pl.col("age_from") == 30),
        named=True,
    )
    people = np.sort(np.repeat([r[4] / 10 for r in ROWS], [r[5] for r in ROWS]))
    lower, upper = 49, 72  # ranks of the median of 120 people
    assert people.size == row["n"] == 120
    assert row == {
        "measure": "weight",
        "unit": "kg",
        "site": None,
        "period": "2025Q1",
        "sex": "female",
        "age_from": 30,
        "age_to": 39,
        "percentile": 50,
        "value": pytest.approx(np.median(people)),
        "low": people[lower - 1],
        "high": people[upper - 1],
        "n": 120,
        "method": METHOD,
        "flag": None,
    }


def test_a_limit_that_does_not_exist_is_null():
    table = table_of([("2025Q1", "male", 40, "bmi", 250, 12)])
    assert table.filter(pl.col("percentile") == 3)["low"].null_count() == 6  # 40–49, 20–99, 5–99; men and all
    assert table.filter(pl.col("percentile") == 3)["high"].null_count() == 0
    assert not table["value"].is_nan().any()


def test_columns_site_and_order():
    other = [(p, s, a, "bmi_z", v - 700, n) for p, s, a, _, v, n in ROWS]
    boys = [(p, "male", 12, "bmi_z", -v, n) for p, _, _, _, v, n in ROWS]
    table = table_of([*other, *ROWS, *boys], site="north-quay")
    assert table.columns == COLUMNS
    assert table["site"].unique().to_list() == ["north-quay"]
    order = {name: i for i, name in enumerate(MEASURES)}
    keys = [(order[r[0]], *r[3:8]) for r in table.rows()]
    assert keys == sorted(keys)
    assert len(set(keys)) == len(keys)


def test_ages_at_which_a_measure_does_not_apply_are_left_out():
    rows = [("2025Q1", "male", age, "metabolic_age", 30, 1) for age in (17, 25)]
    table = table_of(rows)
    assert set(table["n"]) == {1}
    assert set(zip(table["age_from"], table["age_to"], strict=True)) == {(20, 29), (20, 99)}


def test_a_measure_that_is_not_asked_for_is_left_out():
    assert table_of(ROWS, measures=[MEASURES["bmi"]]).is_empty()
    assert table_of(ROWS, measures=[MEASURES["bmi"]]).columns == COLUMNS


def test_a_negative_count_is_refused():
    with pytest.raises(ValueError, match="a count of -1 in the value tally"):
        table_of([("2025Q1", "male", 40, "bmi", 250, -1)])


TALLIES = st.lists(
    st.tuples(
        st.sampled_from(["2025Q1", "2025Q2"]),
        st.sampled_from(["female", "male"]),
        st.integers(5, 99),
        st.sampled_from(["weight", "bmi_z", "basal_metabolic_rate"]),
        st.integers(-500, 4000),
        st.integers(1, 5),
    ),
    max_size=60,
)


@given(TALLIES)
def test_every_row_equals_numpy_on_the_expanded_people(rows):
    for row in table_of(rows).iter_rows(named=True):
        measure = MEASURES[row["measure"]]
        people = (
            np.repeat(
                *np.array(
                    [
                        (value, n)
                        for period, sex, age, name, value, n in rows
                        if name == row["measure"]
                        and period == row["period"]
                        and row["sex"] in ("all", sex)
                        and row["age_from"] <= age <= row["age_to"]
                        and measure.age_from <= age <= measure.age_to
                    ]
                ).T
            )
            / measure.steps_per_unit
        )
        assert row["n"] == people.size
        assert row["value"] == pytest.approx(
            np.quantile(people, row["percentile"] / 100), rel=1e-13, abs=1e-12
        )


@given(TALLIES, st.randoms())
def test_order_and_splitting_of_rows_do_not_change_a_byte(rows, random):
    split = [(*r[:5], part) for r in rows for part in ([1] * r[5] if random.random() < 0.5 else [r[5]])]
    random.shuffle(split)
    assert table_of(split).write_csv() == table_of(rows).write_csv()


PEOPLE = st.lists(
    st.tuples(
        st.sampled_from(["a", "b"]),
        st.sampled_from(["female", "male"]),
        st.integers(5, 99),
        st.none() | st.integers(-500, 4000),
        st.none() | st.integers(0, 60),
    ),
    max_size=60,
)


NAMES = ("weight", "metabolic_age")
ASKED = [MEASURES[name] for name in NAMES], GROUPS, PERCENTILES


def people_and_tally(rows):
    schema = dict.fromkeys(("site", "sex"), pl.String) | {"age": pl.Int16} | dict.fromkeys(NAMES, pl.Int32)
    people = pl.DataFrame(rows, orient="row", schema=schema)
    tally = (
        people.unpivot(NAMES, index=["site", "sex", "age"], variable_name="measure", value_name="value")
        .drop_nulls()
        .group_by("site", "sex", "age", "measure", "value")
        .agg(n=pl.len())
        .with_columns(period=pl.lit("2025Q1"))
    )
    return people, tally


@given(PEOPLE)
def test_people_have_the_percentiles_of_the_tally_that_they_make(rows):
    people, tally = people_and_tally(rows)
    found = percentile_rows(percentiles_of_people(people, "2025Q1", *ASKED))
    assert found.equals(percentile_rows(percentiles_of(tally, *ASKED)))


@given(PEOPLE, PEOPLE)
def test_people_lie_below_a_value_as_in_the_tally_that_they_make(rows, others):
    """Values asked for are those of more people: they may lie outside what these have."""
    people, tally = people_and_tally(rows)
    of_all = percentiles_of(people_and_tally([*rows, *others])[1].drop("site"), *ASKED)
    found = people_below(of_all, percentiles_of_people(people, "2025Q1", *ASKED))
    for one, other in zip(found, people_below(of_all, percentiles_of(tally, *ASKED)), strict=True):
        assert np.array_equal(one, other)


@pytest.mark.parametrize("highest", [2_000_000, 200_000_000])  # places of 42 populations: in 32 bits, and beyond them
def test_values_far_apart_keep_their_order(highest):
    rows = [("a", "female", age, value, None) for age, value in ((30, 7), (30, highest), (31, -5), (90, 0))]
    people, tally = people_and_tally(rows)
    found = percentile_rows(percentiles_of_people(people, "2025Q1", *ASKED))
    assert found.equals(percentile_rows(percentiles_of(tally, *ASKED)))
    assert found["value"].max() > highest / 10 / 2
