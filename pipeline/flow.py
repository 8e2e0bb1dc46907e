"""The one ordered list of steps from site files to published pages, and the plain run of it.

`run` and the scheduled flow (pipeline/schedule.py) walk the same STEPS, so a nightly run can do nothing that a
run by hand cannot.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import duckdb

from pipeline import __version__
from pipeline.faults import Fault, printable_first, title_of
from pipeline.fit_to_run import (
    require_that_no_leap_destroys,
    require_that_settings_fit,
    require_that_the_clock_went_on,
)
from pipeline.intake import IntakeSummary, ReadFile, kept_ledger, receive
from pipeline.intake.amounts import amount
from pipeline.language import require_language, untranslated
from pipeline.programme import Programme
from pipeline.publishing import Publication, bring_up_to_date
from pipeline.readings import build_readings
from pipeline.release.since_frozen import counts_that_differ
from pipeline.removal.erasing import erase_if_due
from pipeline.removal.removing import Removed, remove
from pipeline.results.basis import results_are_current
from pipeline.run_log import RunLog
from pipeline.sole_use import opened_alone, sole_use
from pipeline.store import Store, sql_text, storage_fault
from pipeline.tallies import build_tallies
from pipeline.waiting_figures import WorkedOut, are_due, due_on, resting_on
from pipeline.watching import log_files, watched

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
    run.removed = remove(
        run.store, run.programme, as_of=run.as_of, happened_at=run.received_at, run_id=run.run_id
    )


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


MUCH_SET_ASIDE = 0.05  # of a site's accepted readings; chance and slips give well under 1 %


def _remarks(store: Store) -> tuple[str, ...]:
    """What a run should not leave unsaid of readings that were accepted and yet do not count."""
    by_site: dict[str, list[tuple]] = {}
    for site, *rest in store.rows(sql_text("63_status_set_aside.sql")):
        by_site.setdefault(site, []).append(tuple(rest))
    return tuple(
        f"note  {site}: {sum(n for _, n, _ in codes)} of {codes[0][2]} accepted readings do not count "
        f"({', '.join(f'{code} {n}' for code, n, _ in codes)})\n"
        '      next: where member numbers mean other people at other sites, give participant scope = "site" in its '
        "profile"
        for site, codes in by_site.items()
        if sum(n for _, n, _ in codes) > MUCH_SET_ASIDE * codes[0][2]
    )


def _since_frozen(programme: Programme) -> tuple[str, ...]:
    """That the working view has moved on from what is frozen, and how to publish the difference."""
    return tuple(
        f"note  published/latest shows {n} counts of {period} otherwise than its frozen release: it is the programme's "
        f'own view\n      next: give others the frozen one, or freeze the change: evenbeam release PROGRAMME.toml '
        f"{period} --why TEXT"
        for period, n in counts_that_differ(programme.published).items()
    )


def _waiting(store: Store, programme: Programme) -> tuple[str, ...]:
    """That figures over all periods wait for their day, and which it is."""
    day = resting_on(store)
    if day is None:
        return ()
    return (
        f"note  curves, analysers and outcomes rest on what had come by {day}\n"
        f"      next: nothing; the first run from {due_on(programme, day)} on works them out, or now: "
        "evenbeam run PROGRAMME.toml --all-figures",
    )


def _changed_pages(names: tuple[str, ...]) -> tuple[str, ...]:
    """That files of published/latest were not as this program had written them, and are again."""
    if not names:
        return ()
    told = f"{amount(len(names), 'file')}: {printable_first(names)}"
    return (
        f"note  published/latest was not as it had been written ({told}), and is again\n"
        "      next: nothing; whoever wants to change pages changes a copy",
    )


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
    run_id = log.run_id = _begin(store, programme, as_of, started_at)
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
            with _timed(store, run_id, step):
                way.perform(step, state)
            log.write("step_finished", step=step.name)
    except duckdb.Error as error:
        fault = storage_fault(error, store.path)
        if fault is None:
            _end(store, run_id, started_at, "failed", title_of(error))
            raise
        raise fault from error  # a store that cannot be written cannot say so in its ledger either
    except BaseException as error:
        _end(store, run_id, started_at, "failed", title_of(error))
        raise
    if state.publication is None:
        raise Fault("unfinished run", next="report this: a step ended without its result")
    changed = _changed_pages(state.publication.changed_before)
    waiting = _waiting(store, programme)
    remarks = (*_remarks(store), *_since_frozen(programme), *changed, *waiting, *untranslated(programme))
    outcome = Outcome(state.intake, state.publication, remarks, state.removed)
    if not state.publication.is_new:
        log.write("publication_kept", as_of=state.publication.as_of)
    if state.publication.changed_before:
        log.write("publication_mended", files=len(state.publication.changed_before))
    _end(store, run_id, started_at, outcome.words, "source out of reach" if state.intake.lost_sources else None)
    kept_ledger.write(store, archive)
    log_files(store, log)
    for fault in state.intake.passes_apart:
        log.write("pass_apart", fault=fault)
    for name in state.intake.lost_sources:
        log.write("source_out_of_reach", source=name)
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


@contextmanager
def _timed(store: Store, run_id: int, step: Step) -> Iterator[None]:
    """The seconds of a step, for the history of runs; also of one that failed, where the store can still be written."""
    began = time.monotonic()

    def note() -> None:
        store.execute(
            "insert into ledger.run_step values ($run_id, $step, $seconds)",
            {"run_id": run_id, "step": step.name, "seconds": time.monotonic() - began},
        )

    try:
        yield
    except BaseException:
        with suppress(duckdb.Error):
            note()
        raise
    note()


def _end(store: Store, run_id: int, started_at: datetime, outcome: str, fault: str | None) -> None:
    store.execute(
        "update ledger.run set finished_at = greatest($started_at, now()::timestamp), outcome = $outcome, "
        "fault = $fault where run_id = $run_id",
        {"run_id": run_id, "started_at": started_at, "outcome": outcome, "fault": fault},
    )
