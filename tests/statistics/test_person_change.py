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


def changes(store, days, devices=None, weights=None, fat=None, first=None):
    """(stage, class of time, days between) of one woman of 40, weighed on some days, by default on A1 and at 70 kg."""
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
    for name in ("53_change_place.sql", "53_change_reading.sql", "53_person_change.sql"):
        store.execute_file(name, first=first, parts=1, part=0)
    return store.rows(
        "select class // 5 % 3, class % 5, round(weeks * 7 / 1000) from person_change order by month, days, weeks"
    )


def test_the_stage_of_a_change_is_that_of_its_earlier_reading(store):
    """First change; then those that begin under 26 weeks after the first reading, and from then on."""
    stages = [stage for stage, _, _ in changes(store, [0, 181, 182, 190])]
    assert stages == [0, 1, 2]


@pytest.mark.parametrize(("days", "weeks_class"), [(0, 0), (41, 1), (42, 2), (90, 2), (91, 3), (181, 3), (182, 4)])
def test_changes_are_classed_by_the_time_between(store, days, weeks_class):
    assert changes(store, [0, days]) == [(0, weeks_class, days)]


def test_a_reading_without_the_measure_is_passed_over_for_it(store):
    changes(store, [0, 30, 60, 90], fat=[30.0, None, 31.0, 31.5])
    rows = store.rows(
        "select weight, body_fat_percent, round(weeks * 7 / 1000), class // 5 % 3 from person_change order by all"
    )
    assert rows == [
        (0, None, 30, 0), (0, None, 30, 1), (0, None, 30, 1), (None, 500, 30, 1), (None, 1000, 60, 0)
    ]  # fmt: skip


def test_both_measures_of_two_readings_that_have_them_are_one_row(store):
    changes(store, [0, 30], weights=[70.0, 69.6], fat=[30.0, 30.3])
    assert store.rows("select weight, body_fat_percent from person_change") == [(-400, 300)]


def test_from_a_period_on_changes_begin_at_the_reading_before_it(store):
    """31 January, 10 May and 30 May: from the second quarter on, the first change is that from the first quarter."""
    assert changes(store, [0, 100, 120], first="2024Q2") == [(0, 3, 100), (1, 1, 20)]


def test_people_who_did_not_come_from_the_period_on_have_no_rows(store):
    assert changes(store, [0, 20], first="2024Q2") == []


def cells(store, low=-9000, high=9000):
    bounds = pl.DataFrame({"class": range(180), "low": [low] * 180, "high": [high] * 180})
    with store.lent("change_bound", bounds):
        return store.frame(sql_text("54_change_cell.sql"), {"measure": "weight", "period": "2024Q1"}).sort("days")


def test_cells_are_of_months_and_carry_the_days_into_them(store):
    """31 January to 1 February and to 29 February: two months apart by a day, the next two in one month."""
    changes(store, [0, 1, 29], devices=["A1", "A2", None], weights=[70.0, 70.5, 70.2])
    january = 12 * 2024
    assert store.rows("select site, device, place from change_place order by place") == [
        ("dock", "", 0), ("dock", "A1", 1), ("dock", "A2", 2)
    ]  # fmt: skip
    assert cells(store).select("earlier_place", "place", "earlier_month", "month", "days", "n").rows() == [
        (1, 2, january, january + 1, 0, 1), (2, 0, january + 1, january + 1, 28, 1)
    ]  # fmt: skip
    assert cells(store).select("change", "change_squared", "weeks").rows() == [
        (500, 250_000, 143), (-300, 90_000, 4000)
    ]  # fmt: skip


def test_a_change_outside_the_bounds_of_its_class_is_drawn_in_to_them(store):
    changes(store, [0, 1, 29], weights=[70.0, 70.5, 70.2])
    assert cells(store, -300, 499)["change"].to_list() == [499, -300]
    assert cells(store, -299, 500)["change"].to_list() == [500, -299]


def test_values_are_counted_by_class_before_they_are_drawn_in(store):
    changes(store, [0, 1, 2, 29, 30], weights=[70.0, 70.5, 71.0, 71.5, 72.0], fat=[30.0, None, 30.0, 30.2, 30.4])
    store.execute_file("54_change_value.sql", first=None)
    store.execute_file("54_change_value.sql", first=None)
    rows = store.rows("select period, measure, class, change, n from tally.change_value order by all")
    assert rows == [
        ("2024Q1", "body_fat_percent", 61, 0, 1), ("2024Q1", "body_fat_percent", 66, 200, 2),
        ("2024Q1", "weight", 61, 500, 1), ("2024Q1", "weight", 66, 500, 3),
    ]  # fmt: skip
