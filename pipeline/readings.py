"""Accepted readings → which of them count → reading.participant_period, for the touched people and periods only."""

from __future__ import annotations

from importlib import resources

import polars as pl

from pipeline.in_parts import parts_of_people
from pipeline.own_source import program_digest
from pipeline.programme import Programme
from pipeline.store import Store, sql_text

WHO_TABLE = "who_2007_bmi_for_age.csv"
WRITES = 8  # of a store that is written whole: each goes through the readings, and a night reads fewer blocks for it


def build_readings(store: Store, programme: Programme) -> None:
    """Bring reading.set_aside and reading.participant_period up to the accepted readings.

    Files with `ledger.file.is_built = false` say which people and periods are touched; the rest stays as it is.
    Leaves the temporary tables `touched_period` and `changed_person` for build_tallies, which asks whether all is as
    promised. Runs in the caller's transaction.
    """
    load_reference(store)
    renew_periods(store, programme.settings.period)
    _count_anew_by_another_program(store)
    is_whole = not store.value("select exists (from ledger.file where is_built and state = 'accepted')")
    for name in ("20_touched_reading.sql", "21_set_aside_before.sql"):
        store.execute_file(name, is_whole=is_whole)
    parts = parts_of_people(store) if is_whole else 1
    for part in range(parts):
        store.execute_file("21_reading_set_aside.sql", is_whole=is_whole, parts=parts, part=part)
    for name in ("22_touched_period.sql", "23_changed_person.sql"):
        store.execute_file(name, is_whole=is_whole)
    before, is_unsure = store.rows(sql_text("23_touched_people.sql"), {"is_before": True})[0]
    for first, last in _neighbours(store) if is_whole else [(None, None)]:
        between = {"is_whole": is_whole, "first_period": first, "last_period": last}
        store.execute_file("23_chosen_reading.sql", **between)
        store.execute_file("23_reading_participant_period.sql", **between)
    after, _ = store.rows(sql_text("23_touched_people.sql"), {"is_before": False})[0]
    _count_people(store, change=None if is_whole or is_unsure else after - before)
    store.execute("drop view if exists chosen_person")
    store.execute("drop table if exists touched_reading")
    store.execute("drop table if exists set_aside_before")
    store.execute("drop table if exists chosen_reading")


def _count_people(store: Store, change: int | None) -> None:
    """Keep how many people have a reading that counts; `change` is None where it is not known."""
    people = store.value("select people + $change from ledger.count_state", {"change": change})
    if people is None:  # comparing everybody's pseudonyms takes a second for ten million rows
        parts = parts_of_people(store)
        people = sum(
            store.value(
                "select count(distinct participant) from reading.participant_period "
                "where is_in_part(participant, $parts, $part)",
                {"parts": parts, "part": part},
            )
            for part in range(parts)
        )
    store.execute("update ledger.count_state set people = $people", {"people": people})


def _neighbours(store: Store) -> list[tuple[str, str]]:
    """The touched periods in at most WRITES runs of those that follow each other: the first and last of each."""
    touched = [period for (period,) in store.rows("select period from touched_period order by period")]
    length = -(-len(touched) // WRITES) or 1
    runs = [touched[start : start + length] for start in range(0, len(touched), length)]
    return [(run[0], run[-1]) for run in runs]


def _count_anew_by_another_program(store: Store) -> None:
    """Where another program counted so far, which might have counted otherwise, every file counts as not built."""
    if store.value("select basis from ledger.count_state") != _basis():
        store.execute("update ledger.file set is_built = false")
        store.execute("delete from ledger.count_state")
        store.execute("insert into ledger.count_state (basis) values ($basis)", {"basis": _basis()})


def _basis() -> str:
    return program_digest(("pipeline", "sql"), ("duckdb",))


def renew_periods(store: Store, period_kind: str) -> None:
    """Put every reading in its quarter or month again, when the settings changed from the one to the other."""
    stale = "select count(*) from reading.accepted where contains(period, 'Q') <> ($period_kind = 'quarter')"
    if store.value(stale, {"period_kind": period_kind}):
        store.execute_file("19_reading_period.sql", period_kind=period_kind)


def load_reference(store: Store) -> None:
    """Fill reference.who_bmi_for_age from the copy beside the code, if it is empty."""
    if store.value("select count(*) from reference.who_bmi_for_age"):
        return
    with (resources.files("pipeline.reference") / WHO_TABLE).open("rb") as file:
        store.replace_rows("reference.who_bmi_for_age", pl.read_csv(file))
