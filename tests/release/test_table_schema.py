"""Every published column says what it is, and says it in the open standard's words."""

from __future__ import annotations

import pytest

from pipeline.release.schema import POLARS_TYPES, TABLES

COLUMNS = [(table, column) for table in TABLES for column in table.columns]


@pytest.mark.parametrize(("table", "column"), COLUMNS, ids=[f"{t.name}.{c.name}" for t, c in COLUMNS])
def test_every_column_has_a_title_a_description_a_unit_and_a_source(table, column):
    assert column.title.strip() and column.unit.strip() and column.source.strip()
    assert len(column.description) > 10 and column.description.endswith(".")
    assert column.type in POLARS_TYPES


def test_no_column_stands_twice_and_every_key_is_made_of_columns():
    for table in TABLES:
        assert len(set(table.column_names)) == len(table.column_names)
        assert set(table.key) <= set(table.column_names)
        assert table.title and table.description.endswith(".")


def test_the_columns_are_those_that_others_rely_on():
    """In this order: readers of a release depend on them."""
    names = {table.name: table.column_names for table in TABLES}
    assert names["prevalence"] == [
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
    assert names["percentile"] == [
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
    assert names["data_quality"] == [
        "site",
        "period",
        "item",
        "severity",
        "n",
        "denominator",
        "proportion",
        "flag",
    ]
    listed = {
        "standardised_prevalence": "banding band population site period sex age_from age_to standard n denominator "
        "proportion low high method flag",
        "trend": "banding band sex age_from age_to period_from period_to periods n denominator odds_ratio low high "
        "points_a_period p method flag",
        "curve": "measure unit sex n age_from age_to method why flag",
        "percentile_curve": "measure unit sex age percentile value low high n method flag",
        "curve_diagnostic": "measure sex age_from age_to diagnostic at observed expected low high n flag",
        "who_position": "period sex age_from age_to percentile n denominator proportion low high expected method flag",
    }
    assert {name: " ".join(names[name]) for name in listed} == listed
