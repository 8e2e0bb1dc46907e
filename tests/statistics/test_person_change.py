"""Readings → changes of persons → cells by analyser and month: mechanics of sql/53 and sql/54."""

from datetime import datetime, timedelta

import polars as pl
import pytest

from pipeline.store import Store, sql_text

FIRST = datetime(2024, 1, 31, 9)


@pytest.fixture
def store():
    with Store.open(None) as opened:
        yield opened


def changes(store, days, devices=None, weights=None, fat=None):
    """One woman of 40 weighed on some days after the first, by default on A1 and at 70 kg."""
    n = len(days)
    rows = pl.DataFrame({
        "reading_id": range(n), "measured_at": [FIRST + timedelta(days=day) for day in days],
        "device": devices or ["A1"] * n, "weight_kg": weights or [70.0] * n,
        "body_fat_percent": pl.Series(fat or [None] * n, dtype=pl.Float64),
    })  # fmt: skip
    with store.lent("given", rows):
        store.execute(
            """insert into reading.accepted by name
            select *, 1 as file_id, reading_id as line, 'dock' as site, 'p' as participant, 'female' as sex, 40 as age,
                measured_at::date as measured_on, 170 as height_cm, [] as flags,
                year(measured_at) || 'Q' || quarter(measured_at) as period
            from given"""
        )
    store.execute_file("53_person_change.sql")
    return store.rows("select stage, weeks_class, round(weeks * 7) from person_change order by reading_id, measure")


def test_the_stage_of_a_change_is_that_of_its_earlier_reading(store):
    """First change; then those that begin under 26 weeks after the first reading, and from then on."""
    stages = [stage for stage, _, _ in changes(store, [0, 181, 182, 190])]
    assert stages == [0, 1, 2]


@pytest.mark.parametrize(("days", "weeks_class"), [(0, 0), (41, 1), (42, 2), (90, 2), (91, 3), (181, 3), (182, 4)])
def test_changes_are_classed_by_the_time_between(store, days, weeks_class):
    assert changes(store, [0, days]) == [(0, weeks_class, days)]


def test_a_reading_without_the_measure_is_passed_over_for_it(store):
    changes(store, [0, 30, 60], fat=[30.0, None, 31.0])
    rows = store.rows("select measure, round(weeks * 7) from person_change order by all")
    assert rows == [("body_fat_percent", 60), ("weight", 30), ("weight", 30)]


def test_cells_are_of_months_and_carry_the_days_into_them(store):
    """31 January to 1 February and to 29 February: two months apart by a day, the next two in one month."""
    changes(store, [0, 1, 29], devices=["A1", "A2", None], weights=[70.0, 70.5, 70.2])
    cells = store.frame(sql_text("54_change_cell.sql"), {"measure": None, "period": None}).sort("days")
    january = 12 * 2024
    assert cells.select("earlier_device", "device", "earlier_month", "month", "days", "n").rows() == [
        ("A1", "A2", january, january + 1, 0.0, 1),
        ("A2", "", january + 1, january + 1, 28.0, 1),
    ]
    assert cells["change"].to_list() == pytest.approx([0.5, -0.3])
    assert cells["change_squared"].to_list() == pytest.approx([0.25, 0.09])
    assert cells["weeks"].to_list() == pytest.approx([1 / 7, 4], abs=0.001)
