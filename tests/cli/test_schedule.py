"""The scheduled flow walks the same steps as a run by hand. A temporary schedule server, on this machine only."""

from __future__ import annotations

import dataclasses
import json
import shutil
import time

import duckdb
import pytest

from pipeline import flow
from pipeline.cli import main
from pipeline.faults import SettingsFault, StoreFault


@pytest.fixture(scope="module")
def schedule_server():
    # imported here: pipeline.schedule sets prefect's environment before prefect is loaded
    from prefect.testing.utilities import prefect_test_harness

    import pipeline.schedule as schedule

    with prefect_test_harness(server_startup_timeout=120):
        yield schedule


def test_the_scheduled_flow_publishes_what_a_run_by_hand_publishes(schedule_server, small_run, tmp_path):
    folder = tmp_path / "scheduled"
    shutil.copytree(small_run.folder, folder, ignore=shutil.ignore_patterns("store", "published"))
    done = schedule_server.run_programme(str(folder / "programme.toml"))
    assert done["exit_code"] == 3
    tables = [
        folder / "published" / "latest" / "data" / "prevalence.csv" for folder in (folder, small_run.folder)
    ]
    assert tables[0].read_bytes() == tables[1].read_bytes()

    # a second night, on which nothing came: pages stay, and the history of runs is told all the same
    page, history = folder / "published" / "latest" / "index.html", folder / "reports" / "runs.html"
    written = page.stat().st_mtime_ns
    history.unlink()
    assert schedule_server.run_programme(str(folder / "programme.toml"))["exit_code"] == 3
    assert page.stat().st_mtime_ns == written
    assert "Run 2" in history.read_text(encoding="utf-8") or ">2<" in history.read_text(encoding="utf-8")
    log = "".join(path.read_text(encoding="utf-8") for path in (folder / "store" / "log").iterdir())
    assert [json.loads(line)["event"] for line in log.splitlines()].count("publication_kept") == 1


def test_a_fault_of_the_settings_fails_the_flow_without_another_try(schedule_server, small_run, tmp_path):
    with pytest.raises(SettingsFault, match="no such file"):
        schedule_server.run_programme(str(tmp_path / "programme.toml"))


def programme_with(small_run, folder):
    shutil.copytree(small_run.folder, folder, ignore=shutil.ignore_patterns("published"))
    return str(folder / "programme.toml")


def failing(monkeypatch, error, times):
    """The publishing step fails so often, and then does its work."""
    tried = []
    publish = flow.STEPS[-1]

    def does(run):
        tried.append(run)
        if len(tried) <= times:
            raise error
        publish.does(run)

    monkeypatch.setattr(flow, "STEPS", (*flow.STEPS[:-1], dataclasses.replace(publish, does=does)))
    return tried


def test_a_step_that_fails_for_a_while_is_tried_again(schedule_server, small_run, tmp_path, monkeypatch):
    tried = failing(monkeypatch, OSError(28, "No space left on device"), times=2)
    settings = programme_with(small_run, tmp_path / "a")
    assert schedule_server.run_programme(settings, retry_after=[0, 0])["exit_code"] == 3
    assert len(tried) == 3 and (tmp_path / "a" / "published" / "latest" / "index.html").exists()


def test_a_step_that_keeps_failing_is_reported(schedule_server, small_run, tmp_path, monkeypatch):
    tried = failing(monkeypatch, OSError(28, "No space left on device"), times=99)
    settings = programme_with(small_run, tmp_path / "a")
    with pytest.raises(OSError, match="No space left"):
        schedule_server.run_programme(settings, retry_after=[0])
    assert len(tried) == 2
    log = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "a" / "store" / "log").iterdir())
    assert json.loads(log.splitlines()[-1])["event"] == "run_failed"


def test_a_run_ends_at_its_time_limit_and_is_not_tried_again(schedule_server, small_run, tmp_path, monkeypatch):
    publish = flow.STEPS[-1]
    tried = []

    def does(run):
        tried.append(run)
        for _ in range(600):
            time.sleep(0.05)

    monkeypatch.setattr(flow, "STEPS", (dataclasses.replace(publish, does=does),))
    settings = programme_with(small_run, tmp_path / "a")
    with pytest.raises(TimeoutError):
        schedule_server.run_programme(settings, retry_after=[0, 0], time_limit=2)
    assert len(tried) == 1


@pytest.mark.parametrize(
    ("error", "helps"),
    [
        (StoreFault("store in use"), True),
        (duckdb.IOException("IO Error: Could not write file: No space left on device"), True),
        (OSError(113, "No route to host"), True),
        (TimeoutError(), False),
        (StoreFault("broken promise"), False),
        (SettingsFault("bad settings"), False),
        (duckdb.OutOfMemoryException("Out of Memory Error: failed"), False),
        (ZeroDivisionError(), False),
    ],
)
def test_another_try_is_made_only_where_it_may_help(error, helps):
    from pipeline.schedule import may_pass

    assert may_pass(error) is helps


def test_without_a_server_the_command_says_how_to_start_one(small_run, monkeypatch, capsys):
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    assert main(["schedule", str(small_run.folder)]) == 2
    assert "prefect server start" in capsys.readouterr().err
