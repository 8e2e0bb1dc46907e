"""One person once a period: which reading counts, and what is derived from it."""

from datetime import date, datetime

import pytest

from pipeline.faults import StoreFault

MONDAY, FRIDAY = date(2025, 2, 3), date(2025, 2, 7)


def chosen(store, *columns):
    return store.rows(
        f"select {', '.join(columns)} from reading.participant_period order by participant, period"
    )


def test_the_last_reading_of_the_period_counts(accept, build, store):
    accept({"measured_on": FRIDAY, "weight_kg": 64.0}, {"measured_on": MONDAY, "weight_kg": 66.0})
    build()
    assert chosen(store, "period", "weight_kg", "measured_on") == [("2025Q1", 64.0, FRIDAY)]


def test_the_last_day_of_a_quarter_and_the_next_are_two_periods(accept, build, store):
    accept(
        {"measured_on": date(2025, 3, 31), "weight_kg": 64.0},
        {"measured_on": date(2025, 4, 1), "weight_kg": 65.0},
    )
    build()
    assert chosen(store, "period", "weight_kg") == [("2025Q1", 64.0), ("2025Q2", 65.0)]


def test_someone_seen_at_two_sites_counts_once_at_the_later_one(accept, build, store):
    accept({"measured_on": FRIDAY}, site="east-pier")
    accept({"measured_on": MONDAY}, site="north-quay")
    build()
    assert chosen(store, "site") == [("east-pier",)]


@pytest.mark.parametrize("order", [("east-pier", "north-quay"), ("north-quay", "east-pier")])
def test_of_two_readings_at_one_moment_the_site_decides_whatever_came_first(accept, build, store, order):
    for site in order:
        accept({"measured_on": MONDAY, "measured_at": datetime(2025, 2, 3, 9)}, site=site)
    build()
    assert chosen(store, "site") == [("east-pier",)]


def test_a_reading_set_aside_gives_way_to_the_one_before(accept, build, store):
    accept(
        {"measured_on": date(2025, 1, 10)},
        {"measured_on": MONDAY, "weight_kg": 64.5},
        {"measured_on": FRIDAY, "sex": "male"},
    )
    build()
    assert chosen(store, "weight_kg", "sex") == [(64.5, "female")]


def test_someone_whose_readings_are_all_set_aside_does_not_count(accept, build, store):
    accept({"measured_on": MONDAY}, {"measured_on": FRIDAY, "sex": "male"})
    build()
    assert chosen(store, "participant") == []


def test_a_reading_newly_set_aside_changes_its_period_though_its_file_is_built(accept, build, store):
    accept({"measured_on": date(2024, 11, 1)})
    build()
    accept({"measured_on": MONDAY, "sex": "male"}, {"measured_on": FRIDAY, "sex": "male"})
    build()
    assert chosen(store, "period", "sex") == [("2025Q1", "male")]
    assert store.rows("select distinct period from tally.value") == [("2025Q1",)]


def test_the_view_of_readings_says_the_same(accept, build, store):
    accept(
        {"measured_on": date(2025, 1, 10)}, {"measured_on": MONDAY}, {"measured_on": FRIDAY, "sex": "male"}
    )
    build()
    assert store.rows(
        "select reading_id % 10, is_eligible, is_chosen, why from reading.status order by 1"
    ) == [
        (1, True, False, "a later reading of the period counts"),
        (2, True, True, "last eligible reading of the period"),
        (3, False, False, "sex_changes"),
    ]


def test_untouched_periods_are_not_rewritten(accept, build, store):
    accept({"measured_on": date(2024, 11, 1)})
    build()
    store.execute("update reading.participant_period set device = 'left alone'")
    accept({"measured_on": MONDAY, "participant": "p2"})
    build()
    assert chosen(store, "period", "device") == [("2024Q4", "left alone"), ("2025Q1", None)]


def test_a_period_that_no_reading_stands_in_any_more_is_emptied(accept, build, store):
    accept({"measured_on": MONDAY})
    build()
    store.execute("delete from reading.accepted")
    store.execute("update ledger.file set rows_accepted = 0, rows_superseded = 1")
    build()
    assert chosen(store, "participant") == []
    assert store.value("select count(*) from tally.value") == 0


DERIVED = (
    "body_fat_percent",
    "fat_mass_kg",
    "fat_free_mass_kg",
    "total_body_water_kg",
    "total_body_water_percent",
    "water_in_fat_free_mass",
    "fat_mass_index_kg_m2",
    "fat_free_mass_index_kg_m2",
    "muscle_mass_index_kg_m2",
)


@pytest.mark.parametrize(
    ("printed", "expected"),
    [
        ({}, (None,) * 9),
        ({"body_fat_percent": 30.0}, (30.0, 19.5, 45.5, None, None, None, 19.5, 45.5, None)),
        ({"fat_mass_kg": 19.5}, (30.0, 19.5, 45.5, None, None, None, 19.5, 45.5, None)),
        ({"fat_free_mass_kg": 45.5}, (30.0, 19.5, 45.5, None, None, None, 19.5, 45.5, None)),
        (
            {"body_fat_percent": 30.1, "fat_mass_kg": 19.5, "fat_free_mass_kg": 45.6},
            (30.1, 19.5, 45.6, None, None, None, 19.5, 45.6, None),
        ),
        (
            {"total_body_water_kg": 32.5, "fat_free_mass_kg": 45.5},
            (30.0, 19.5, 45.5, 32.5, 50.0, 32.5 / 45.5, 19.5, 45.5, None),
        ),
        (
            {"total_body_water_percent": 50.0, "muscle_mass_kg": 42.0},
            (None, None, None, 32.5, 50.0, None, None, None, 42.0),
        ),
    ],
)
def test_printed_values_first_then_what_follows_from_them_then_null(accept, build, store, printed, expected):
    accept(printed | {"height_cm": 100.0, "age": 6, "weight_kg": 65.0})  # at 1 m an index is its mass
    build()
    assert chosen(store, *DERIVED)[0] == pytest.approx(expected, abs=1e-9)


def test_bmi_is_computed_and_the_printed_one_is_not_used(accept, build, store):
    accept({"height_cm": 160.0, "weight_kg": 64.0, "bmi_printed_kg_m2": 24.9})
    build()
    assert chosen(store, "bmi_kg_m2", "bmi_z") == [(25.0, None)]


@pytest.mark.parametrize(
    ("age", "age_months", "has_z"),
    [(5, 60, False), (5, 61, True), (5, None, True), (19, 239, True), (19, None, True), (20, None, False)],
)
def test_a_z_score_is_of_the_months_that_the_reference_covers(accept, build, store, age, age_months, has_z):
    accept({"age": age, "age_months": age_months, "height_cm": 120.0, "weight_kg": 24.0})
    build()
    assert (chosen(store, "bmi_z")[0][0] is not None) == has_z


def test_a_broken_promise_changes_nothing(accept, build, store):
    accept({"measured_on": MONDAY})
    build()
    store.execute(
        "insert into reading.participant_period by name "
        "select * replace ('2024Q4' as period) from reading.participant_period union all by name "
        "select * replace ('2024Q4' as period) from reading.participant_period"
    )
    accept({"measured_on": FRIDAY, "weight_kg": 60.0})
    before = chosen(store, "period", "weight_kg")
    store.execute(
        "insert into reading.accepted by name select * replace "
        "('2024Q4' as period, timestamp '2024-11-04' as measured_at, date '2024-11-04' as measured_on, "
        "'p9' as participant, 9 as reading_id) from reading.accepted limit 1"
    )
    with pytest.raises(StoreFault, match="one row a person a period"):
        build()
    assert chosen(store, "period", "weight_kg") == before
