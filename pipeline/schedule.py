"""The nightly run: pipeline/flow.py's own list of steps as a Prefect flow on a cron schedule.

A task a step and, within the step that reads them, a task a new file, so that the server's page shows where a run
stands; the logic stays in plain functions. The day of a
run is the day it was scheduled for, not the day it happens to start: a scheduler may start a moment early, and at
midnight that moment is yesterday.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable
from contextvars import Context, copy_context
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import Any

# Nothing about a programme's runs leaves the machine. Set before prefect is imported, which reads them once.
os.environ.setdefault("DO_NOT_TRACK", "1")
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")

import duckdb
from prefect import flow as prefect_flow
from prefect import get_run_logger, task
from prefect.artifacts import create_markdown_artifact
from prefect.cache_policies import NO_CACHE
from prefect.runtime import flow_run

from pipeline import flow, running
from pipeline.faults import Fault, SettingsFault
from pipeline.feedback.run_history import write_history
from pipeline.programme import Programme
from pipeline.sole_use import sole_use
from pipeline.store import Store, storage_fault

RETRY_AFTER = (30.0, 120.0)  # seconds before the second and the third attempt
TIME_LIMIT = 6 * 3600.0  # seconds of a whole run
MAY_PASS = ("store in use", "store cannot be written")


def may_pass(error: BaseException) -> bool:
    """Can another try help? A full disk, a store in use, a source out of reach: yes. Settings, input, bugs: no."""
    if isinstance(error, duckdb.Error):
        fault = storage_fault(error, None)
        return fault is not None and fault.what in MAY_PASS
    if isinstance(error, Fault):
        return error.what in MAY_PASS
    return isinstance(error, OSError) and not isinstance(error, TimeoutError)  # a time limit is no accident


def _is_worth_another_try(_task, _run, state) -> bool:
    try:
        state.result()
    except BaseException as error:
        return may_pass(error)
    return False


@task(cache_policy=NO_CACHE, persist_result=False, retry_condition_fn=_is_worth_another_try, task_run_name="store")
def _wait_for_store(programme: Programme) -> None:
    """Until no other process changes the programme or has its store open."""
    database = programme.store / "evenbeam.duckdb"
    if database.exists():
        with sole_use(programme.store):
            Store.open(database).close()


@task(cache_policy=NO_CACHE, persist_result=False, retry_condition_fn=_is_worth_another_try, task_run_name="{name}")
def _step(name: str, step: flow.Step, run: flow.Run) -> None:
    run.read_file = partial(_within, copy_context())
    step.does(run)


@task(cache_policy=NO_CACHE, persist_result=False, task_run_name="{where}")
def _file(where: str, read: Callable[[], Any]) -> Any:
    return read()


def _within(context: Context, where: str, read: Callable[[], Any]) -> Any:
    """One new file's reading as a task of the step that `context` was copied from.

    Files are read in threads of their own, which know of no flow unless they are told. A file is tried again with its
    step, and never by itself: what is left of it then would have to be cleared away first.
    """
    return context.copy().run(_file, where, read)


@prefect_flow(name="evenbeam", persist_result=False)
def run_programme(
    settings: str, retry_after: tuple[float, ...] = RETRY_AFTER, time_limit: float = TIME_LIMIT
) -> dict[str, int | str]:
    """One scheduled run of the programme whose settings file is `settings`; returns what it did, in numbers.

    retry_after: seconds before each further attempt of a step; time_limit: seconds that the run's steps may take.
    """
    logger = get_run_logger()
    scheduled = flow_run.scheduled_start_time or datetime.now(UTC)
    ends_at, seconds = time.monotonic() + time_limit, {}

    def perform(step: flow.Step, run: flow.Run) -> None:
        began = time.monotonic()
        if began >= ends_at:
            raise Fault(
                "time limit",
                where=step.name,
                found=f"{time_limit:g} seconds are over",
                expected="a run within its time limit",
                next="give the schedule a longer --time-limit, or look why the run takes so long",
            )
        _step.with_options(timeout_seconds=ends_at - began, **tries)(step.name, step, run)
        seconds[step.title] = time.monotonic() - began

    tries = {"retries": len(retry_after), "retry_delay_seconds": list(retry_after)}
    # Where the store stays in use, the run itself says so, and tells whoever is to be told.
    _wait_for_store.with_options(**tries)(Programme.read(Path(settings)), return_state=True)
    as_of = scheduled.astimezone().date()
    try:
        outcome = running.run(
            Path(settings),
            as_of=as_of,
            started_at=datetime.now(),
            on_step=lambda position, of, title: logger.info("[%d/%d] %s", position, of, title),
            progress=lambda done, total, what: None,
            perform=perform,
            steps=flow.STEPS,
            is_day_given=False,
        )
    finally:
        _write_history(Path(settings), as_of)
    for message in (*outcome.intake.messages, *outcome.intake.row_messages):
        logger.warning("%s", message)
    logger.info("%s", outcome.intake.sentence())
    if not outcome.publication.is_new:
        logger.info("%s", outcome.publication.sentence())
    create_markdown_artifact(
        key="run-summary", markdown=summary(outcome, seconds), description="What this run received and did"
    )
    return {"published": str(outcome.published), "exit_code": outcome.exit_code}


def _write_history(settings: Path, as_of: date) -> None:
    """The page on all runs, also after one that failed. That it cannot be written never fails a run."""
    try:
        get_run_logger().info("history of runs: %s", write_history(settings, as_of=as_of))
    except Exception as error:
        get_run_logger().warning("the history of runs could not be written: %s", error)


def summary(outcome: running.Outcome, seconds: dict[str, float]) -> str:
    """The run's numbers as Markdown tables: what came in, and how long each step took."""
    intake = outcome.intake
    received = {
        "files accepted": intake.files_accepted,
        "files held": intake.files_held,
        "files refused": intake.files_refused,
        "files already received": intake.files_already_received,
        "rows read": intake.rows_read,
        "rows accepted": intake.rows_accepted,
        "rows held": intake.rows_held,
        "rows duplicate": intake.rows_duplicate,
        "rows superseded": intake.rows_superseded,
    }
    lines = ["| received | |", "|---|---:|", *(f"| {word} | {n} |" for word, n in received.items()), ""]
    lines += ["| step | seconds |", "|---|---:|", *(f"| {title} | {took:.1f} |" for title, took in seconds.items())]
    return "\n".join(lines) + "\n"


def deployment_name(programme: Programme) -> str:
    """One a programme: two may lie in folders of the same name."""
    return f"{programme.folder.name}-{hashlib.sha256(str(programme.path).encode()).hexdigest()[:6]}"


def serve(settings: Path, *, cron: str, time_limit: float = TIME_LIMIT) -> None:
    """Serve the flow on `cron` (local time of this machine) until stopped.

    Errors   SettingsFault when the settings are wrong, the cron text is no schedule, or no server is named.
    """
    programme = Programme.read(settings)
    if not os.environ.get("PREFECT_API_URL"):
        raise SettingsFault(
            "no schedule server",
            expected="PREFECT_API_URL, such as http://127.0.0.1:4200/api",
            next="start one with `prefect server start --host 127.0.0.1`, set PREFECT_API_URL and try again",
        )
    try:
        run_programme.serve(
            name=deployment_name(programme),
            cron=cron,
            parameters={"settings": str(programme.path), "time_limit": time_limit},
            limit=1,
            global_limit=1,  # one run at a time a programme: the store has one writer
        )
    except ValueError as error:
        raise SettingsFault(
            "no such schedule",
            found=cron,
            expected='five cron fields, such as "0 3 * * *" for 03:00',
            next="correct --cron",
        ) from error
