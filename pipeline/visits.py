"""Accepted readings → reading.visit, reading.repeat: people's visits, rewritten for the touched people only.

Working out a visit looks at a person's other readings, in windows over everybody's; what rests on a person alone is
kept from run to run. What one reading anywhere can change, such as who is due, is decided by the results.
"""

from __future__ import annotations

import hashlib

import polars as pl

from pipeline.in_parts import parts_of_people
from pipeline.own_source import program_digest
from pipeline.programme import Programme
from pipeline.store import Store

PATIENCE_DAYS = 180  # a visit is followed by another within these, or not at all
MOST_DAYS = 180  # between the outer two of three visits that tell how far the middle one wobbles
_FILES = ("23_visitor", "23_visitor_reading", "23_reading_repeat", "23_reading_visit")


def build_visits(store: Store, programme: Programme) -> None:
    """Bring people's visits up to the accepted readings, in the caller's transaction.

    ledger.file_without_visits says which files came since they were last written. Another program, or other settings of
    sites, periods or visits, touch everybody.
    """
    basis = _basis(programme)
    is_whole = store.rows("from ledger.visit_state") != [(basis,)]
    if not (is_whole or store.value("select exists (from ledger.file_without_visits)")):
        return
    given = {
        "is_whole": is_whole,
        "parts": parts_of_people(store) if is_whole else 1,
        "same_visit_hours": programme.settings.outcomes.same_visit_hours,
        "patience_days": PATIENCE_DAYS,
        "most_days": MOST_DAYS,
    }
    if is_whole:
        store.execute("delete from reading.visit")
        store.execute("delete from reading.repeat")
        store.execute(
            "insert or ignore into ledger.file_without_visits select distinct file_id from reading.accepted"
        )
    with store.lent("site_start", site_starts(programme)):
        for part in range(given["parts"]):
            for name in _FILES:
                store.execute_file(f"{name}.sql", part=part, **given)
    store.execute("drop table visitor")
    store.execute("drop table visitor_reading")
    store.execute("delete from ledger.file_without_visits")
    store.execute("delete from ledger.visit_state")
    store.execute("insert into ledger.visit_state values ($basis)", {"basis": basis})


def site_starts(programme: Programme) -> pl.DataFrame:
    """site, its number in the order of names, kind, and started: the day on which the programme began there, null for
    that of the first reading."""
    sites = sorted(programme.settings.site, key=lambda site: site.id)
    return pl.DataFrame(
        {
            "site": [site.id for site in sites],
            "site_number": range(1, len(sites) + 1),
            "kind": [site.kind for site in sites],
            "started": [site.started for site in sites],
        },
        schema={"site": pl.String, "site_number": pl.Int32, "kind": pl.String, "started": pl.Date},
    )


def _basis(programme: Programme) -> str:
    """A digest that differs where visits could differ though the readings do not."""
    settings = programme.settings
    digest = hashlib.sha256(program_digest(("pipeline", "sql"), ("duckdb",)).encode())
    sites = [(site.id, str(site.started)) for site in settings.site]
    digest.update(repr((settings.period, settings.outcomes.same_visit_hours, sites)).encode())
    return digest.hexdigest()
