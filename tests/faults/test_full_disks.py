"""A night without room, or without the right to write, ends with a clear line and loses nothing.

Each scenario runs in a process of its own that forks (full_disks.py), since pytest's own process must not be forked.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
import trouble

HERE = Path(__file__).parent
SCRIPT = """
import dataclasses, json, sys
from pathlib import Path
sys.path[:0] = [{root!r}, {here!r}]
import full_disks, kills, nights
nights.ready()
base = Path({base!r})
lives = kills.undisturbed(base, nights.NIGHTS[:2])
tries = [full_disks.on_limited_files(lives[0], base / "life", n) for n in (0, 3_000, 100_000)]
tries += [full_disks.on_limited_files(lives[1], base / "life", n) for n in (1_000, 700_000)]
tries += [full_disks.on_read_only(lives[1], base / "life", part) for part in ("store", "published")]
print(json.dumps([dataclasses.asdict(one) for one in tries]))
nights.delete(base / "life")
"""


@pytest.fixture(scope="module")
def tries(tmp_path_factory):
    base = tmp_path_factory.mktemp("full")
    script = SCRIPT.format(root=str(HERE.parents[1]), here=str(HERE), base=str(base))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout)


def test_the_next_run_makes_good_what_had_no_room_and_the_last_publication_stays(tries):
    assert [one for one in tries if one["wrong"]] == []


def test_each_ends_with_1_and_says_what_could_not_be_written(tries):
    assert {one["exit_code"] for one in tries} == {1}
    for one in tries:
        assert any(
            word in one["said"]
            for word in ("cannot be written", "cannot read or write", "not be made durable")
        ), one


def test_on_a_real_small_disk(capsys):
    """A tmpfs that is full but for a few bytes, in a mount namespace of its own: "No space left on device"."""
    with tempfile.TemporaryDirectory() as disk:
        done = trouble.in_small_disk(HERE / "full_disks.py", Path(disk), 64, "2", "9000", "700000")
        if done is None:
            pytest.skip("no disk may be mounted here; limits of files' sizes are tested everywhere")
        assert done.returncode == 0 and done.stdout.splitlines()[-1] == "done", done.stderr[-3000:]
        tried = done.stdout.splitlines()[:-1]
        assert len(tried) == 4 and all(line.endswith("| []") for line in tried), done.stdout
        assert sum(line.startswith("1 ") for line in tried) >= 3, done.stdout
