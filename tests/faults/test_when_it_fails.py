"""docs/when-it-fails.md, every command as written, in the order of the page, against an invented programme."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import nights
import pytest
import soundness

from pipeline.store import Store

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "when-it-fails.md").read_text(encoding="utf-8")
# The command as installed, less the pages and comparisons that nights.py leaves out.
COMMAND = """#!{python}
import sys
sys.path[:0] = [{root!r}, {here!r}]
import nights
nights.ready()
from pipeline.cli import main
sys.exit(main())
"""


def blocks() -> dict[str, list[str]]:
    """Heading → its blocks of commands."""
    found: dict[str, list[str]] = {}
    for part in re.split(r"^## ", PAGE, flags=re.MULTILINE)[1:]:
        heading, _, text = part.partition("\n")
        found[heading] = re.findall(r"^```sh\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    return found


@pytest.fixture
def place(run_once, tmp_path):
    """A folder with my-programme in it: two runs, a withdrawal between, and one frozen quarter."""
    folder = tmp_path / "my-programme"
    shutil.copytree(run_once, folder, symlinks=True)
    assert nights.command(("release", "FOLDER", "2025Q1", "--as-of", "2025-07-10"), folder)[0] == 0
    command = tmp_path / "bin" / "evenbeam"
    command.parent.mkdir()
    command.write_text(COMMAND.format(python=sys.executable, root=str(ROOT), here=str(Path(__file__).parent)))
    command.chmod(0o755)
    return tmp_path


def perform(place: Path, block: str) -> str:
    environment = os.environ | {"PATH": f"{place / 'bin'}{os.pathsep}{os.environ['PATH']}"}
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", block],
        cwd=place,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, f"{block}\n{done.stdout[-1500:]}\n{done.stderr[-1500:]}"
    return done.stdout + done.stderr


def withdraw(folder: Path) -> None:
    code, said = nights.command(("withdraw", "FOLDER", "--as-of", "2025-07-10"), folder, nights.PERSON)
    assert code == 0, said


def is_there(folder: Path) -> bool:
    with Store.open(folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        return store.value("select count(*) from ledger.file where rows_withdrawn > 0") == 0


def test_the_page_has_commands_under_every_heading():
    assert {heading: len(found) for heading, found in blocks().items()} == {
        "A run failed": 1,
        "The database is damaged or gone": 1,
        "Backup": 2,
        "Restore": 3,
        "Upgrade": 2,
        "A new store": 1,
    }


def test_a_failed_run_and_a_damaged_database(place):
    folder = place / "my-programme"
    before = soundness.contents(folder)
    assert "finished" in perform(place, blocks()["A run failed"][0])
    database = folder / "store" / "evenbeam.duckdb"
    database.write_bytes(database.read_bytes()[:100_000])
    assert "could be compared" in perform(place, blocks()["The database is damaged or gone"][0])
    found = soundness.contents(folder)
    assert found == before and soundness.faults(folder) == []


def test_a_backup_restored_brings_nobody_back_who_withdrew_since(place):
    folder = place / "my-programme"
    backup, restore = blocks()["Backup"], blocks()["Restore"]
    perform(place, backup[0])
    withdraw(folder)
    nights.later_arrivals(folder)
    assert nights.command(nights.RUN, folder)[0] == 0
    twin = soundness.contents(folder)
    shutil.rmtree(folder / "store" / "archive")
    (folder / "store" / "pseudonym.key").unlink()
    assert "the same in all" in perform(place, restore[0])
    assert not is_there(folder)
    found = soundness.contents(folder)
    for table in ("tally.value", "tally.band", "result.prevalence", "withdrawn", "pseudonym.key", "frozen"):
        assert found[table] == twin[table], table
    assert "sound" in perform(place, restore[1]) and not (place / "my-programme.damaged").exists()
    assert soundness.faults(folder) == []


def test_a_backup_without_the_database_is_as_good(place):
    folder = place / "my-programme"
    before = soundness.contents(folder)
    perform(place, blocks()["Backup"][1])
    nights.delete(folder)
    perform(place, "tar -xzf my-programme-small-backup.tar.gz")
    assert not (folder / "store" / "evenbeam.duckdb").exists()
    perform(place, blocks()["Restore"][2])
    assert soundness.contents(folder) == before
    assert nights.command(nights.RUN, folder)[0] == 0 and soundness.faults(folder) == []


def test_an_upgrade_and_a_new_store(place):
    folder = place / "my-programme"
    withdraw(folder)
    first, second = blocks()["Upgrade"]
    assert "the same in all" in perform(place, first) and (place / "before-upgrade.tar.gz").stat().st_size
    assert "the same in all" in perform(place, second)
    perform(place, blocks()["A new store"][0])
    assert not is_there(folder) and soundness.faults(folder) == []
    assert (folder / "store" / "pseudonym.key").exists()
