"""What is asked of the store after counting, and when: of what was touched, and of everything once a week."""

from datetime import date, datetime

import pytest

from pipeline import readings
from pipeline.faults import StoreFault

Q1, Q2 = date(2025, 2, 3), date(2025, 5, 6)
MISCOUNTED = "update tally.value set n = n + 1 where period = '2025Q1' and measure = 'weight'"
TWICE = (
    "insert into reading.participant_period from reading.participant_period "
    "where participant = 'p1' and period = '2025Q1'"
)


@pytest.fixture
def night(store, build, accept):
    """A run on a day of January 2026 with the given readings in a new file; then everything is counted."""

    def run(day, *given):
        number = store.value("select count(*) from ledger.run") + 1
        store.execute(
            "insert into ledger.run (run_id, as_of, started_at, version, settings_sha256) "
            "values ($number, date '2026-01-01', $started_at, '', '')",
            {"number": number, "started_at": datetime(2026, 1, day, 3)},
        )
        if given:
            accept(*given)
        build()

    return run


@pytest.fixture
def first_night(store, night):
    night(1, {"measured_on": Q1}, {"participant": "p2", "measured_on": Q2})
    assert store.rows("select checked_on from ledger.count_state") == [(date(2026, 1, 1),)]


@pytest.mark.usefixtures("first_night")
def test_a_usual_night_asks_of_touched_periods_only(store, night):
    store.execute(MISCOUNTED)
    night(2)
    night(3, {"participant": "p3", "measured_on": Q2})
    store.execute(TWICE)
    with pytest.raises(StoreFault, match="one row a person a period"):
        night(4, {"participant": "p3", "measured_on": Q1})


@pytest.mark.usefixtures("first_night")
@pytest.mark.parametrize(("day", "is_whole"), [(7, False), (8, True)])
def test_after_a_week_everything_is_asked_of_the_whole_store(store, night, day, is_whole):
    store.execute(MISCOUNTED)
    if is_whole:
        with pytest.raises(StoreFault, match="tally_value_counts_everybody"):
            night(day)
    else:
        night(day)


@pytest.mark.usefixtures("first_night")
def test_a_clock_that_went_back_asks_of_everything(store, night):
    store.execute("update ledger.count_state set checked_on = date '2026-02-01'")
    store.execute(MISCOUNTED)
    with pytest.raises(StoreFault, match="tally_value_counts_everybody"):
        night(2)


@pytest.mark.usefixtures("first_night")
def test_files_are_accounted_for_every_night_that_builds_any(store, night):
    store.execute("update ledger.file set rows_read = rows_read + 1 where file_id = 1")
    with pytest.raises(StoreFault, match="file_accounting_adds_up"):
        night(2, {"participant": "p3", "measured_on": Q2})


@pytest.mark.usefixtures("first_night")
def test_another_program_counts_everything_anew_and_asks_of_all_of_it(store, night, monkeypatch):
    store.execute(TWICE)
    monkeypatch.setattr(readings, "_basis", lambda: "another")
    night(2)
    assert store.rows("select participant, period from reading.participant_period order by all") == [
        ("p1", "2025Q1"),
        ("p2", "2025Q2"),
    ]
    assert store.rows("select basis, checked_on from ledger.count_state") == [("another", date(2026, 1, 2))]


@pytest.mark.usefixtures("first_night")
def test_a_night_rewrites_the_rows_of_the_people_whom_its_files_touch_and_no_others(store, night):
    store.execute("update reading.participant_period set device = 'kept'")
    night(2, {"participant": "p1", "measured_on": Q1, "weight_kg": 66.0, "measured_at": datetime(2025, 2, 4)},
          {"participant": "p2", "measured_on": Q1})  # fmt: skip
    rows = store.rows("select participant, period, weight_kg, device from reading.participant_period order by all")
    assert rows == [("p1", "2025Q1", 66.0, None), ("p2", "2025Q1", 65.0, None), ("p2", "2025Q2", 65.0, "kept")]


def test_a_row_goes_with_the_last_reading_of_its_period_though_no_file_has_the_person_any_more(store, night):
    night(1, {"participant": "p1"})
    night(1, {"participant": "p2"})
    night(1, {"participant": "p3"})
    store.execute("delete from reading.accepted where participant = 'p2'")  # as a withdrawal does
    store.execute("update ledger.file set rows_accepted = 0, rows_withdrawn = 1 where file_id = 2")
    store.execute("update ledger.file set is_built = false where file_id = 3")
    night(1)
    assert store.rows("select participant from reading.participant_period order by all") == [("p1",), ("p3",)]
    assert store.value("select sum(n) from tally.value where measure = 'weight'") == 2
