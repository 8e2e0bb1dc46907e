"""One run of a programme: its steps in order, alone in its store, under watch, and recorded as it goes."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import duckdb

from pipeline import __version__, run_ledger
from pipeline.faults import Fault, title_of
from pipeline.fit_to_run import (
    require_that_no_leap_destroys,
    require_that_settings_fit,
    require_that_the_clock_went_on,
)
from pipeline.flow import STEPS, Progress, Run, Step
from pipeline.intake import IntakeSummary, ReadFile, kept_ledger
from pipeline.language import require_language
from pipeline.programme import Programme
from pipeline.publishing import Publication
from pipeline.removal.erasing import erase_if_due
from pipeline.removal.removing import Removed
from pipeline.run_log import RunLog
from pipeline.run_remarks import remarks
from pipeline.sole_use import opened_alone, sole_use
from pipeline.store import Store, storage_fault
from pipeline.watching import log_files, watched


@dataclass(frozen=True)
class Outcome:
    intake: IntakeSummary
    publication: Publication
    remarks: tuple[str, ...]
    removed: Removed

    @property
    def published(self) -> Path:
        return self.publication.path

    @property
    def exit_code(self) -> int:
        intake = self.intake
        is_incomplete = intake.files_held or intake.files_refused or intake.passed_over or intake.lost_sources
        return 3 if is_incomplete else 0

    @property
    def words(self) -> str:
        """As the ledger keeps it."""
        if self.intake.lost_sources:
            return "finished_without_source"
        return "finished_with_held_files" if self.exit_code else "finished"


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
    read_file: ReadFile = lambda where, read: read(),
    steps: tuple[Step, ...] = STEPS,
    is_day_given: bool = True,
    is_publication_asked_for: bool = False,
    is_everything_asked_for: bool = False,
) -> Outcome:
    """Run every step over the programme at `path` and publish.

    `as_of` fixes the clock of everything that is published; `started_at` is for the ledger alone. Where nobody gave the
    day (`is_day_given` false), it is the machine's, whose clock must not have gone back since the last run.
    `is_publication_asked_for`: publish also where `published/latest` says all there is to say.
    `is_everything_asked_for`: work out figures over all periods too, though their day has not come.
    Errors   a Fault of the settings or the store ends the run; a fault of a file holds that file.
    """
    programme = Programme.read(path)
    way = _Way(
        steps, on_step, progress, perform, read_file, is_day_given, is_publication_asked_for, is_everything_asked_for
    )
    with watched(programme) as log, sole_use(programme.store):
        outcome = _opened(programme, as_of, started_at, way, log)
        log.write("run_finished", outcome=outcome.words, exit_code=outcome.exit_code)
    return outcome


@dataclass(frozen=True)
class _Way:
    """How a run goes: over which steps, done by whom, and who hears of its progress."""

    steps: tuple[Step, ...]
    on_step: Callable[[int, int, str], None]
    progress: Progress
    perform: Callable[[Step, Run], None]
    read_file: ReadFile
    is_day_given: bool
    is_publication_asked_for: bool
    is_everything_asked_for: bool


def _opened(programme: Programme, as_of: date, started_at: datetime, way: _Way, log: RunLog) -> Outcome:
    if programme.settings.disclosure.noise:
        from pipeline.release.noise_kept import require_noise_can_be_drawn

        require_noise_can_be_drawn(programme)
    require_language(programme)
    limits = programme.settings.limits
    database = programme.store / "evenbeam.duckdb"
    removals_due: list[int] = []
    try:
        with opened_alone(database, memory_limit=limits.memory, threads=limits.threads) as store:
            try:
                if not way.is_day_given:
                    require_that_the_clock_went_on(store, started_at)
                    require_that_no_leap_destroys(store, programme, started_at)
                return _walk(store, programme, as_of, started_at, way, log)
            finally:
                with suppress(duckdb.Error):
                    removals_due.append(
                        store.value("select count(*) from ledger.removal where not is_erased")
                    )
    finally:
        # Also where the run failed afterwards: rows that were removed must not stand in the file's free pages.
        if any(removals_due):
            erase_if_due(database, memory_limit=limits.memory)


def _walk(
    store: Store, programme: Programme, as_of: date, started_at: datetime, way: _Way, log: RunLog
) -> Outcome:
    archive = programme.store / "archive"
    require_that_settings_fit(store, programme, as_of)
    kept_ledger.require_store_has_all(store, archive)
    run_id = log.run_id = run_ledger.begin(store, programme, as_of, started_at)
    kept_ledger.write(store, archive)
    log.write("run_started", as_of=as_of, version=__version__, settings_sha256=programme.sha256)
    state = Run(
        programme,
        store,
        run_id,
        as_of,
        started_at,
        way.progress,
        way.read_file,
        is_day_given=way.is_day_given,
        is_publication_asked_for=way.is_publication_asked_for,
        is_everything_asked_for=way.is_everything_asked_for,
    )
    try:
        for position, step in enumerate(way.steps, start=1):
            way.on_step(position, len(way.steps), step.title)
            log.write("step_started", step=step.name)
            with run_ledger.timed(store, run_id, step.name):
                way.perform(step, state)
            log.write("step_finished", step=step.name)
    except duckdb.Error as error:
        fault = storage_fault(error, store.path)
        if fault is None:
            run_ledger.end(store, run_id, started_at, "failed", title_of(error))
            raise
        raise fault from error  # a store that cannot be written cannot say so in its ledger either
    except BaseException as error:
        run_ledger.end(store, run_id, started_at, "failed", title_of(error))
        raise
    return _finished(state, log)


def _finished(run: Run, log: RunLog) -> Outcome:
    """What is told, logged and recorded of a run whose steps are all done."""
    store, publication, intake = run.store, run.publication, run.intake
    if publication is None:
        raise Fault("unfinished run", next="report this: a step ended without its result")
    outcome = Outcome(intake, publication, remarks(store, run.programme, publication), run.removed)
    if not publication.is_new:
        log.write("publication_kept", as_of=publication.as_of)
    if publication.changed_before:
        log.write("publication_mended", files=len(publication.changed_before))
    fault = "source out of reach" if intake.lost_sources else None
    run_ledger.end(store, run.run_id, run.received_at, outcome.words, fault)
    kept_ledger.write(store, run.archive)
    log_files(store, log)
    for title in intake.passes_apart:
        log.write("pass_apart", fault=title)
    for name in intake.lost_sources:
        log.write("source_out_of_reach", source=name)
    return outcome
