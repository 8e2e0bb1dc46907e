"""The one ordered list of steps from site files to published pages.

`run` and the scheduled flow (pipeline/schedule.py) walk the same STEPS, so a nightly run can do nothing that a
run by hand cannot. pipeline/running.py walks them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from pipeline.faults import Fault
from pipeline.intake import IntakeSummary, ReadFile, kept_ledger, receive
from pipeline.programme import Programme
from pipeline.publishing import Publication, bring_up_to_date
from pipeline.readings import build_readings
from pipeline.removal.removing import Removed, remove
from pipeline.results.basis import results_are_current
from pipeline.store import Store
from pipeline.tallies import build_tallies
from pipeline.waiting_figures import WorkedOut, are_due

Progress = Callable[[int, int, str], None]


@dataclass
class Run:
    """One run under way: what its steps share."""

    programme: Programme
    store: Store
    run_id: int
    as_of: date
    received_at: datetime
    progress: Progress
    read_file: ReadFile = lambda where, read: read()
    intake: IntakeSummary = field(default_factory=IntakeSummary)
    removed: Removed = field(default_factory=Removed)
    is_day_given: bool = True
    is_publication_asked_for: bool = False
    is_everything_asked_for: bool = False
    publication: Publication | None = None

    @property
    def archive(self) -> Path:
        return self.programme.store / "archive"


@dataclass(frozen=True)
class Step:
    name: str
    title: str
    does: Callable[[Run], None]


def _remove(run: Run) -> None:
    run.removed = remove(run.store, run.programme, as_of=run.as_of, happened_at=run.received_at)


def _receive(run: Run) -> None:
    run.store.execute_file("04_account_before.sql")
    run.intake = receive(
        run.store,
        run.programme,
        as_of=run.as_of,
        received_at=run.received_at,
        run_id=run.run_id,
        progress=run.progress,
        read_file=run.read_file,
    )
    kept_ledger.write(run.store, run.archive)


def _build(run: Run) -> None:
    if not run.store.value("select count(*) from reading.accepted"):
        _empty_what_stood_on_readings(run.store)
        raise Fault(
            "no readings yet",
            where=str(run.programme.inbox),
            found="no row that could be accepted" if run.intake.rows_read else "no file with readings",
            expected="sites' files in inbox/<site>/",
            next="put files there, or see `evenbeam status`, and run again; nothing was published, and "
            "published/latest is as it was",
        )
    # One transaction: readings without their tallies, or tallies of half the files, are never seen.
    with run.store.transaction():
        build_readings(run.store, run.programme)
        build_tallies(run.store, run.programme)


def _empty_what_stood_on_readings(store: Store) -> None:
    """Where the last reading was removed, nothing made of it may stay either."""
    tables = store.rows(
        "select schema_name, table_name from duckdb_tables() where schema_name in ('reading', 'tally', 'result') "
        "and not temporary order by all"
    )
    with store.transaction():
        for schema, table in tables:
            store.execute(f'delete from {schema}."{table}"')
        store.execute("delete from ledger.percentile_digest")


def _results(run: Run) -> None:
    over_periods = run.is_everything_asked_for or are_due(run.store, run.programme, run.as_of)
    if results_are_current(run.store, run.programme) and not over_periods:
        return
    from pipeline.results import refresh_results  # with all of statistics behind it

    with run.store.transaction():
        refresh_results(
            run.store,
            run.programme,
            run.progress,
            now=WorkedOut(run.run_id, run.as_of),
            over_periods=over_periods,
        )


def _publish(run: Run) -> None:
    run.publication = bring_up_to_date(
        run.store,
        run.programme,
        run.as_of,
        is_day_given=run.is_day_given,
        is_asked_for=run.is_publication_asked_for,
        progress=run.progress,
    )


STEPS: tuple[Step, ...] = (
    Step("remove", "Removing what must not be kept", _remove),
    Step("receive", "Reading files", _receive),
    Step("build", "Choosing readings and counting", _build),
    Step("results", "Computing results", _results),
    Step("publish", "Protecting, writing and publishing", _publish),
)
