"""The nightly run: pipeline/flow.py's own list of steps as a Prefect flow on a cron schedule.

A task a step, so that the server's page shows where a run stands; the logic stays in plain functions. The day of a
run is the day it was scheduled for, not the day it happens to start: a scheduler may start a moment early, and at
midnight that moment is yesterday.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

# Nothing about a programme's runs leaves the machine. Set before prefect is imported, which reads them once.
os.environ.setdefault("DO_NOT_TRACK", "1")
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")

from prefect import flow as prefect_flow
from prefect import get_run_logger, task
from prefect.cache_policies import NO_CACHE
from prefect.runtime import flow_run

from pipeline import flow
from pipeline.faults import Fault, SettingsFault
from pipeline.programme import Programme


def _is_worth_another_try(_task, _run, state) -> bool:
    """A full disk or a store in use may pass; wrong settings and bugs will not."""
    try:
        state.result()
    except SettingsFault:
        return False
    except (Fault, OSError):
        return True
    except Exception:
        return False
    return False


@task(
    cache_policy=NO_CACHE,
    persist_result=False,
    retries=2,
    retry_delay_seconds=[30, 120],
    retry_condition_fn=_is_worth_another_try,
    task_run_name="{name}",
)
def _step(name: str, step: flow.Step, run: flow.Run) -> None:
    step.does(run)


@prefect_flow(name="evenbeam", persist_result=False)
def run_programme(settings: str) -> dict[str, int | str]:
    """One scheduled run of the programme whose settings file is `settings`; returns what it did, in numbers."""
    logger = get_run_logger()
    scheduled = flow_run.scheduled_start_time or datetime.now(UTC)
    outcome = flow.run(
        Path(settings),
        as_of=scheduled.astimezone().date(),
        started_at=datetime.now(),
        on_step=lambda position, of, title: logger.info("[%d/%d] %s", position, of, title),
        progress=lambda done, total, what: None,
        perform=lambda step, run: _step(step.name, step, run),
    )
    for message in (*outcome.intake.messages, *outcome.intake.row_messages):
        logger.warning("%s", message)
    logger.info("%s", outcome.intake.sentence())
    return {"published": str(outcome.published), "exit_code": outcome.exit_code}


def serve(settings: Path, *, cron: str) -> None:
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
            name=programme.folder.name,
            cron=cron,
            parameters={"settings": str(programme.path)},
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
