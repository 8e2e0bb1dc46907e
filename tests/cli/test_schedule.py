"""The scheduled flow walks the same steps as a run by hand. A temporary schedule server, on this machine only."""

from __future__ import annotations

import shutil

import pytest

from pipeline.cli import main
from pipeline.faults import SettingsFault


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


def test_a_fault_of_the_settings_fails_the_flow_without_another_try(schedule_server, small_run, tmp_path):
    with pytest.raises(SettingsFault, match="no such file"):
        schedule_server.run_programme(str(tmp_path / "programme.toml"))


def test_without_a_server_the_command_says_how_to_start_one(small_run, monkeypatch, capsys):
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    assert main(["schedule", str(small_run.folder)]) == 2
    assert "prefect server start" in capsys.readouterr().err
