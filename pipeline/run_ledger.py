"""What the store's own ledger keeps of a run: its beginning, the seconds of each step, its end."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import date, datetime

import duckdb

from pipeline import __version__
from pipeline.programme import Programme
from pipeline.store import Store


def begin(store: Store, programme: Programme, as_of: date, started_at: datetime) -> int:
    """Enter a run, and that earlier ones still under way failed; returns its number."""
    run_id = store.value("select coalesce(max(run_id), 0) + 1 from ledger.run")
    # A run that was killed could not say so itself.
    store.execute("update ledger.run set outcome = 'failed' where outcome = 'running'")
    store.execute(
        "insert into ledger.run (run_id, as_of, started_at, version, settings_sha256) "
        "values ($run_id, $as_of, $started_at, $version, $settings)",
        {
            "run_id": run_id,
            "as_of": as_of,
            "started_at": started_at,
            "version": __version__,
            "settings": programme.sha256,
        },
    )
    return run_id


@contextmanager
def timed(store: Store, run_id: int, step: str) -> Iterator[None]:
    """The seconds of a step, for the history of runs; also of one that failed, where the store can still be written."""
    began = time.monotonic()

    def note() -> None:
        store.execute(
            "insert into ledger.run_step values ($run_id, $step, $seconds)",
            {"run_id": run_id, "step": step, "seconds": time.monotonic() - began},
        )

    try:
        yield
    except BaseException:
        with suppress(duckdb.Error):
            note()
        raise
    note()


def end(store: Store, run_id: int, started_at: datetime, outcome: str, fault: str | None) -> None:
    store.execute(
        "update ledger.run set finished_at = greatest($started_at, now()::timestamp), outcome = $outcome, "
        "fault = $fault where run_id = $run_id",
        {"run_id": run_id, "started_at": started_at, "outcome": outcome, "fault": fault},
    )
