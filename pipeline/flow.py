"""The one ordered list of steps from site files to published pages, and the plain run of it.

`run` and the scheduled flow (pipeline/schedule.py) walk the same STEPS, so a nightly run can do nothing that a
run by hand cannot.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import dashboards
from pipeline import __version__, release
from pipeline.data_quality import build_data_quality
from pipeline.faults import Fault
from pipeline.intake import IntakeSummary, receive
from pipeline.programme import Programme
from pipeline.readings import build_readings
from pipeline.results import build_results
from pipeline.store import Store
from pipeline.tallies import build_tallies

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
    intake: IntakeSummary | None = None
    published: Path | None = None


@dataclass(frozen=True)
class Step:
    name: str
    title: str
    does: Callable[[Run], None]


def _receive(run: Run) -> None:
    run.intake = receive(
        run.store,
        run.programme,
        as_of=run.as_of,
        received_at=run.received_at,
        run_id=run.run_id,
        progress=run.progress,
    )


def _build(run: Run) -> None:
    # One transaction: readings without their tallies, or tallies of half the files, are never seen.
    with run.store.transaction():
        build_readings(run.store, run.programme)
        build_tallies(run.store, run.programme)


def _results(run: Run) -> None:
    with run.store.transaction():
        build_results(run.store, run.programme, run.progress)
        build_data_quality(run.store, run.programme)


def _publish(run: Run) -> None:
    run.published = release.publish(run.store, run.programme, run.as_of, build_pages=dashboards.build_pages)


STEPS: tuple[Step, ...] = (
    Step("receive", "Reading files", _receive),
    Step("build", "Choosing readings and counting", _build),
    Step("results", "Computing results", _results),
    Step("publish", "Protecting, writing and publishing", _publish),
)


@dataclass(frozen=True)
class Outcome:
    intake: IntakeSummary
    published: Path

    @property
    def exit_code(self) -> int:
        return 3 if self.intake.files_held or self.intake.files_refused else 0


def perform(step: Step, run: Run) -> None:
    """Do one step, here and now. A scheduler wraps this call and adds its own watch over it."""
    step.does(run)


def run(
    path: Path,
    *,
    as_of: date,
    started_at: datetime,
    on_step: Callable[[int, int, str], None],
    progress: Progress,
    perform: Callable[[Step, Run], None] = perform,
) -> Outcome:
    """Run every step over the programme at `path` and publish.

    `as_of` fixes the clock of everything that is published; `started_at` is for the ledger alone.
    Errors   a Fault of the settings or the store ends the run; a fault of a file holds that file.
    """
    programme = Programme.read(path)
    limits = programme.settings.limits
    with Store.open(
        programme.store / "evenbeam.duckdb", memory_limit=limits.memory, threads=limits.threads
    ) as store:
        run_id = _begin(store, programme, as_of, started_at)
        state = Run(programme, store, run_id, as_of, started_at, progress)
        try:
            for position, step in enumerate(STEPS, start=1):
                on_step(position, len(STEPS), step.title)
                perform(step, state)
        except BaseException:
            _end(store, run_id, started_at, "failed")
            raise
        if state.intake is None or state.published is None:
            raise Fault("unfinished run", next="report this: a step ended without its result")
        outcome = Outcome(state.intake, state.published)
        _end(store, run_id, started_at, "finished_with_held_files" if outcome.exit_code else "finished")
        return outcome


def _begin(store: Store, programme: Programme, as_of: date, started_at: datetime) -> int:
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


def _end(store: Store, run_id: int, started_at: datetime, outcome: str) -> None:
    store.execute(
        "update ledger.run set finished_at = greatest($started_at, now()::timestamp), outcome = $outcome "
        "where run_id = $run_id",
        {"run_id": run_id, "started_at": started_at, "outcome": outcome},
    )
