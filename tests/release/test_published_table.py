from __future__ import annotations

import math
import random

import polars as pl
import pytest
from invented_store import percentile, prevalence

from pipeline.disclosure.presence import without_silent_groups
from pipeline.measures import BANDINGS, MEASURES
from pipeline.release import row_order, table
from pipeline.release.schema import PERCENTILE, PREVALENCE
from pipeline.release.table import published_table

KEY = ("topic", "band", "site", "sex", "age_from", "share")


def test_bands_stand_in_the_order_of_their_banding_and_all_sites_come_first():
    found = published_table(PREVALENCE, prevalence())
    assert found.select("band", "site").rows() == [
        ("usual", None),
        ("usual", "east-pier"),
        ("usual", "north-quay"),
        ("excess", None),
        ("excess", "east-pier"),
        ("excess", "north-quay"),
    ]


def test_a_figure_keeps_seven_significant_digits_as_the_nearest_double():
    rows = percentile().with_columns(
        value=pl.Series([26.099999999999998, 123456.789]), high=pl.Series([1 / 3, -0.0])
    )
    found = published_table(PERCENTILE, rows).sort("percentile", descending=True)
    assert found["value"].to_list() == [26.1, 123456.8]
    assert found["high"].to_list() == [0.3333333, 0.0]
    assert math.copysign(1, found["high"][1]) == 1
    assert found["low"].to_list() == [None, None]


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_figure_that_is_no_number_is_refused(value):
    with pytest.raises(ValueError, match="column value: a figure is not a finite number"):
        published_table(PERCENTILE, percentile().with_columns(value=pl.lit(value)))


def test_two_rows_for_one_key_are_refused_also_where_the_key_has_a_null():
    with pytest.raises(ValueError, match="table percentile has two rows for"):
        published_table(PERCENTILE, pl.concat([percentile(), percentile()]))


def test_a_missing_column_is_named():
    with pytest.raises(ValueError, match="table percentile lacks method, flag"):
        published_table(PERCENTILE, percentile().drop("method", "flag"))


def test_columns_the_schema_does_not_know_stay_behind():
    found = published_table(PERCENTILE, percentile().with_columns(participant=pl.lit("someone")))
    assert found.columns == PERCENTILE.column_names


def test_a_group_whose_percentiles_are_all_withheld_has_no_rows_and_one_with_any_keeps_them_all():
    both = percentile()
    closed = both.with_columns(
        sex=pl.lit("female"),
        value=pl.lit(None, pl.Float64),
        n=pl.lit(None, pl.Int64),
        flag=pl.lit("withheld"),
    )
    half = both.with_columns(
        sex=pl.lit("male"), value=pl.when(pl.int_range(pl.len()) == 0).then(pl.col("value"))
    )
    rows = pl.concat([both, closed.cast(dict(both.schema)), half])
    kept = without_silent_groups({"percentile": rows})["percentile"]
    assert kept.equals(pl.concat([both, half]))


# ---- the order of rows -------------------------------------------------------------------------------------------


def as_sorted(rows: pl.DataFrame, key: tuple[str, ...]) -> pl.DataFrame:
    """Rows in the order that the docstring of row_order tells, by Python's own sort."""
    words = {"measure": list(MEASURES), "sex": ["all", "female", "male"], "topic": [*BANDINGS, *MEASURES]}
    bands = {name: [band.name for band in banding.bands] for name, banding in BANDINGS.items()}

    def place(row: dict) -> list:
        told = []
        for name in key:
            value = row[name]
            known = words.get(name) if name != "band" else bands.get(row["topic"], [value])
            if known is not None:
                told.append((known.index(value) if value in known else len(known), ""))
            else:
                told.append((value is not None, value if value is not None else ""))
        return told

    return pl.DataFrame(sorted(rows.to_dicts(), key=place), schema=rows.schema)


def shuffled_comparisons(seed: int) -> pl.DataFrame:
    """Rows of a key with words in an order, words without, numbers, bands and nulls, no two alike."""
    draw, topics = random.Random(seed), ["bmi_adult", "hydration", "weight", "no measure", None]
    names = {"bmi_adult": ["underweight", "obesity_3", "strange", None], "hydration": ["below", "above"]}
    rows = [
        {"topic": topic, "band": band, "site": site, "sex": sex, "age_from": age, "share": share}
        for topic in topics
        for band in names.get(topic, [None])
        for site in (None, "a", "b", "B")
        for sex in ("male", "all", "female", "other", None)
        for age in (20, None, 5)
        for share in (0.5, None, 0.25)
        if draw.random() < 0.3
    ]
    draw.shuffle(rows)
    return pl.DataFrame(rows, schema={"topic": pl.String, "band": pl.String, "site": pl.String, "sex": pl.String,
                                      "age_from": pl.Int16, "share": pl.Float64})  # fmt: skip


@pytest.mark.parametrize("most", [1 << 62, 50])
@pytest.mark.parametrize("seed", range(3))
def test_rows_stand_in_the_order_of_their_keys(seed, most, monkeypatch):
    monkeypatch.setattr(row_order, "_MOST", most)  # the second: numbers are closed up at nearly every column
    rows = shuffled_comparisons(seed)
    order, repeated = row_order.row_order(rows, KEY)
    assert repeated is None
    assert rows[order].equals(as_sorted(rows, KEY))
    assert row_order.row_order(rows[order], KEY) == (None, None)


def test_a_row_that_repeats_a_key_is_found_wherever_it_stands():
    rows = shuffled_comparisons(5)
    for again in (0, 7, rows.height - 1):
        _, repeated = row_order.row_order(pl.concat([rows, rows[again]]), KEY)
        assert repeated == again


def test_a_table_without_rows_has_an_order_too():
    assert row_order.row_order(shuffled_comparisons(1).clear(), KEY) == (None, None)


@pytest.mark.parametrize("few", [1, 10**6])
def test_rows_are_the_same_whether_taken_in_runs_or_one_by_one(few, monkeypatch):
    monkeypatch.setattr(table, "_FEW", few)
    rows = pl.concat([percentile().with_columns(sex=pl.lit(sex)) for sex in ("male", "female", "all")])
    found = published_table(PERCENTILE, rows)
    assert found["sex"].to_list() == ["all"] * 2 + ["female"] * 2 + ["male"] * 2
    assert found.equals(published_table(PERCENTILE, rows.reverse()))
