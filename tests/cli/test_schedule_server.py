"""A schedule server of its own on this machine: the schedule fires, the run completes, and a failure is reported.

One server for the whole file. Slow because a cron schedule fires at the full minute, and a server takes its time.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from pipeline import flow
from pipeline.store import Store

pytestmark = pytest.mark.slow
ENDED = {"COMPLETED", "FAILED", "CRASHED", "CANCELLED"}


class Server:
    """What the tests ask of the server, over its REST interface."""

    def __init__(self, url: str, environment: dict[str, str]):
        self.url, self.environment = url, environment

    def ask(self, path: str, body: dict | None = None):
        request = urllib.request.Request(
            f"{self.url}/{path}",
            data=None if body is None else json.dumps(body).encode(),
            headers={"Content-Type": "application/json"},
            method="GET" if body is None else "POST",
        )
        for _ in range(20):  # 503: the server's own database is busy, and it asks to be asked again
            try:
                with urllib.request.urlopen(request, timeout=30) as answer:
                    return json.load(answer)
            except urllib.error.HTTPError as error:
                if error.code != 503:
                    raise
                time.sleep(1)
        raise TimeoutError(f"{path}: the server stayed busy")

    def until(self, found, seconds: float):
        """The first true answer of `found()`."""
        ends = time.monotonic() + seconds
        while time.monotonic() < ends:
            try:
                if answer := found():
                    return answer
            except (urllib.error.URLError, ConnectionError):
                pass
            time.sleep(0.5)
        raise AssertionError(f"nothing within {seconds} seconds")


def started(command: list[str], environment: dict[str, str], log: Path) -> subprocess.Popen:
    with log.open("wb") as out:
        return subprocess.Popen(command, env=environment, stdout=out, stderr=subprocess.STDOUT)


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    home = tmp_path_factory.mktemp("prefect")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {
        **os.environ,
        "PREFECT_HOME": str(home),
        "PREFECT_API_URL": f"http://127.0.0.1:{port}/api",
        "PREFECT_RUNNER_POLL_FREQUENCY": "1",
        "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
        "DO_NOT_TRACK": "1",
    }
    command = [sys.executable, "-m", "prefect", "server", "start", "--host", "127.0.0.1", "--port", str(port)]
    process = started(command, environment, home / "server.log")
    try:
        running = Server(environment["PREFECT_API_URL"], environment)
        running.until(lambda: running.ask("health"), 120)
        yield running
    finally:
        process.terminate()
        process.wait(30)


@pytest.fixture
def scheduled(server, small_run, tmp_path):
    """A programme that `evenbeam schedule` serves; gives its folder and its deployment."""
    folder = tmp_path / "programme"
    shutil.copytree(small_run.folder, folder, ignore=shutil.ignore_patterns("published"))
    command = [sys.executable, "-m", "pipeline.cli", "schedule", str(folder), "--cron", "* * * * *"]
    process = started(command, server.environment, tmp_path / "schedule.log")
    try:
        yield (
            folder,
            server.until(
                lambda: [
                    one
                    for one in server.ask("deployments/filter", {})
                    if one["parameters"]["settings"] == str(folder / "programme.toml")
                ],
                60,
            )[0],
        )
    finally:
        process.terminate()
        process.wait(30)


def runs_of(server, deployment, **more):
    body = {"deployments": {"id": {"any_": [deployment["id"]]}}, **more}
    return server.ask("flow_runs/filter", body)


def test_the_schedule_fires_and_the_run_completes(server, scheduled):
    folder, deployment = scheduled
    assert deployment["global_concurrency_limit"]["limit"] == 1
    ended = server.until(
        lambda: [one for one in runs_of(server, deployment) if one["state"]["type"] in ENDED], 150
    )[0]
    assert ended["state"]["type"] == "COMPLETED" and ended["auto_scheduled"]
    assert (folder / "published" / "latest" / "index.html").exists()
    with Store.open(folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        as_of = store.value("select max(as_of) from ledger.run where outcome like 'finished%'")
    assert as_of.isoformat() >= time.strftime("%Y-%m-%d", time.localtime(time.time() - 86400))
    by_run = {"flow_runs": {"id": {"any_": [ended["id"]]}}}
    tasks = {one["name"]: one["state"]["type"] for one in server.ask("task_runs/filter", by_run)}
    assert set(tasks.values()) == {"COMPLETED"}
    passes = {name for name in tasks if name.startswith("pass of ")}  # files that are checked together
    files = {name for name in tasks if "/" in name} - passes
    assert set(tasks) - files - passes == {"store", *(step.name for step in flow.STEPS)}
    with Store.open(folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        again = {"/".join(row) for row in store.rows("select site, name from ledger.file where state <> 'accepted'")}
    assert files == again  # a task a file that is read; what was accepted before is not
    [artifact] = server.ask("artifacts/filter", by_run)
    assert artifact["key"] == "run-summary" and "| files already received |" in artifact["data"]


def test_a_store_in_use_is_tried_again_and_then_reported(server, scheduled):
    folder, deployment = scheduled
    with Store.open(folder / "store" / "evenbeam.duckdb"):
        run = server.ask(
            f"deployments/{deployment['id']}/create_flow_run",
            {"parameters": {**deployment["parameters"], "retry_after": [1, 2]}},
        )
        by_id = {"flow_runs": {"id": {"any_": [run["id"]]}}}
        [ended] = server.until(
            lambda: [one for one in runs_of(server, deployment, **by_id) if one["state"]["type"] in ENDED], 150
        )
    assert ended["state"]["type"] == "FAILED" and "store in use" in ended["state"]["message"]
    [waited] = server.ask("task_runs/filter", by_id)
    assert (waited["name"], waited["run_count"], waited["state"]["type"]) == ("store", 3, "FAILED")
    log = (folder / "store" / "log").glob("*.jsonl")
    assert '"run_failed"' in "".join(path.read_text(encoding="utf-8") for path in log)
