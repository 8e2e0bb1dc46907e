from __future__ import annotations

import math

import polars as pl
import pytest
from invented_store import percentile, prevalence

from pipeline.disclosure.presence import without_silent_groups
from pipeline.release.schema import PERCENTILE, PREVALENCE
from pipeline.release.table import published_table


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
