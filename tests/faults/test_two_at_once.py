"""Several commands on one programme at the same time: one changes it, the others are told, and nothing is lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import nights
import pytest
import soundness

from pipeline import sole_use as waiting
from pipeline.faults import StoreFault
from pipeline.sole_use import opened_alone, sole_use
from pipeline.store import Store

ROOT, HERE = Path(__file__).parents[2], Path(__file__).parent
WITHDRAW = ("withdraw", "FOLDER", "--as-of", "2025-07-10")
RELEASE = ("release", "FOLDER", "2025Q1", "--as-of", "2025-07-10")
SCRIPT = f"import sys; sys.path[:0] = [{str(ROOT)!r}, {str(HERE)!r}]; import nights; nights.ready(); " + (
    "from pipeline.cli import main; sys.exit(main())"
)


@pytest.mark.parametrize("command", [nights.RUN, WITHDRAW, RELEASE, ("rebuild", "FOLDER")], ids=lambda one: one[0])
def test_whoever_changes_the_programme_has_it_alone(programme, command):
    before = soundness.contents(programme)
    with sole_use(programme / "store"):
        code, said = nights.command(command, programme, nights.PERSON)
    assert code == 1 and "store in use" in said and f"process {os.getpid()} has it open" in said
    assert soundness.contents(programme) == before
    assert nights.command(command, programme, nights.PERSON)[0] == 0


def test_whoever_only_reads_needs_no_turn(programme):
    with sole_use(programme / "store"):
        assert nights.command(("status", "FOLDER"), programme)[0] == 0


def test_a_run_waits_for_whoever_only_reads(programme, monkeypatch):
    tried = []

    def in_use_twice(*arguments, **named):
        tried.append(arguments)
        if len(tried) < 3:
            raise StoreFault("store in use")
        return "opened"

    def in_use(*arguments, **named):
        raise StoreFault("store in use")

    monkeypatch.setattr(Store, "open", in_use_twice)
    database = programme / "store" / "evenbeam.duckdb"
    assert opened_alone(database, memory_limit="1GB") == "opened" and len(tried) == 3
    monkeypatch.setattr(waiting, "PATIENCE", 0.2)
    monkeypatch.setattr(Store, "open", in_use)
    with pytest.raises(StoreFault, match="store in use"):
        opened_alone(database, memory_limit="1GB")


def test_a_turn_ends_with_its_process(programme):
    script = f"import sys; sys.path.insert(0, {str(ROOT)!r})\n" + (
        "import os, signal; from pathlib import Path; from pipeline.sole_use import sole_use\n"
        "with sole_use(Path(sys.argv[1])): os.kill(os.getpid(), signal.SIGKILL)"
    )
    ended = subprocess.run([sys.executable, "-c", script, str(programme / "store")], check=False)
    assert ended.returncode == -9
    with sole_use(programme / "store"):
        assert (programme / "store" / "lock").read_text().strip() == str(os.getpid())


def test_five_commands_at_once_lose_nothing(programme, tmp_path):
    twin = Path(shutil.copytree(programme, tmp_path / "twin", symlinks=True))
    for folder in (programme, twin):
        nights.later_arrivals(folder)
    commands = [nights.RUN, nights.RUN, ("status", "FOLDER"), RELEASE, WITHDRAW]
    begun = [
        subprocess.Popen(
            [sys.executable, "-c", SCRIPT, *(one.replace("FOLDER", str(programme)) for one in command)],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for command in commands
    ]
    for command, process in zip(commands, begun, strict=True):
        _, said = process.communicate(nights.PERSON + "\n")
        assert process.returncode in (0, 1), said
        if process.returncode:
            assert "store in use" in said or (command == RELEASE and "files waiting" in said), said
    assert soundness.published(programme)[1] == []
    for command in (nights.RUN, RELEASE, WITHDRAW):
        code, said = nights.command(command, programme, nights.PERSON)
        assert code == 0 or "already frozen" in said or "withdrew before" in said, said
        assert nights.command(command, twin, nights.PERSON)[0] == 0
    found, expected = soundness.contents(programme), soundness.contents(twin)
    for table in ("tally.value", "tally.band", "result.prevalence", "withdrawn", "reading.participant_period"):
        assert found[table] == expected[table], table
    assert soundness.faults(programme) == [] and soundness.frozen_faults(programme) == []

