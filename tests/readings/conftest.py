"""A store in memory, and the two ways in: rows of a file to be checked, and readings already accepted."""

from datetime import date, datetime
from types import SimpleNamespace

import pytest

from pipeline.programme import Ages
from pipeline.readings import build_readings
from pipeline.store import Store
from pipeline.tallies import build_tallies

AS_OF = date(2026, 1, 15)
METRIC_STEPS = {"height_step_cm": 0.1, "weight_step_kg": 0.1, "mass_step_kg": 0.1, "percent_step": 0.1}
WOMAN = {
    "participant": "p1",
    "measured_on": date(2025, 2, 3),
    "measured_at": datetime(2025, 2, 3, 9, 30),
    "period": "2025Q1",
    "sex": "female",
    "age": 35,
    "height_cm": 165.0,
    "weight_kg": 65.0,
}


@pytest.fixture
def store():
    with Store.open(None) as opened:
        yield opened


@pytest.fixture(scope="session")
def checking_store():
    """One store for all row checks: they leave nothing but temporary tables that are made anew each time."""
    with Store.open(None) as opened:
        opened.execute("""create temp table normalised as
            select 1 as file, * exclude (reading_id, file_id, site, flags), []::varchar[] as unreadable
            from reading.accepted""")
        yield opened


@pytest.fixture
def check(checking_store):
    """Rows of one file, each a woman of 35 but for what is given → (codes, flags, proposal) of each."""
    store = checking_store

    def run(*rows, **steps):
        store.execute("delete from normalised")
        for line, given in enumerate(rows, start=1):
            row = {"file": 1, "line": line, "unreadable": []} | WOMAN | given
            insert(store, "normalised", row)
        store.execute(
            "create or replace temp table file_of_pass as select 1 as file, $as_of::date as as_of, "
            "$height_step_cm::double as height_step_cm, $weight_step_kg::double as weight_step_kg, "
            "$mass_step_kg::double as mass_step_kg, $percent_step::double as percent_step",
            {"as_of": AS_OF, **METRIC_STEPS, **steps},
        )
        store.execute_file("11_file_facts.sql")
        store.execute_file("11_reading_checked.sql")
        return store.rows("select codes, flags, proposal from checked order by line")

    return run


@pytest.fixture
def accept(store):
    """Accepted readings, each a woman of 35 at north-quay but for what is given → their reading_ids; one new file."""

    def run(*readings, site="north-quay"):
        file_id = store.value("select coalesce(max(file_id), 0) + 1 from ledger.file")
        n = len(readings)
        insert(
            store,
            "ledger.file",
            {
                "file_id": file_id,
                "run_id": 1,
                "site": site,
                "name": f"{file_id}.csv",
                "sha256": str(file_id),
                "bytes": 1,
                "received_at": datetime(2026, 1, 15),
                "state": "accepted",
                "rows_read": n,
                "rows_accepted": n,
            },
        )
        ids = [file_id * 1_000_000_000 + line for line in range(1, n + 1)]
        for reading_id, given in zip(ids, readings, strict=True):
            row = WOMAN | {"site": site, "flags": []} | given
            if "measured_on" in given:
                midnight = datetime.combine(given["measured_on"], datetime.min.time())
                row["measured_at"] = given.get("measured_at", midnight)
                row["period"] = f"{row['measured_on'].year}Q{(row['measured_on'].month + 2) // 3}"
            insert(
                store,
                "reading.accepted",
                row | {"reading_id": reading_id, "file_id": file_id, "line": reading_id % 1_000_000_000},
            )
        return ids

    return run


@pytest.fixture
def programme():
    return SimpleNamespace(settings=SimpleNamespace(period="quarter", ages=Ages()))


@pytest.fixture
def build(store, programme):
    def run():
        with store.transaction():
            build_readings(store, programme)
            build_tallies(store, programme)

    return run


def insert(store, table, row):
    """One row; column names are this file's own text."""
    store.execute(
        f"insert into {table} ({', '.join(row)}) values ({', '.join('$' + name for name in row)})", row
    )
