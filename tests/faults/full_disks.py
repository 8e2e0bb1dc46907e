"""Each night of a programme with no room for it, or no right to write: it says so, and the next one makes it good."""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

import nights  # noqa: E402
import soundness  # noqa: E402
import trouble  # noqa: E402
from kills import Before, again, compared, undisturbed  # noqa: E402
from nights import command, forked  # noqa: E402


@dataclass
class Try:
    night: str
    trouble: str
    exit_code: int
    said: str
    wrong: list[str]


def tried(before: Before, life: Path, what: str, ended: nights.Ended) -> Try:
    """Judge a night that had no room: its words, what is served, and whether the next one makes it good."""
    code, said = ended.value
    lines = [line for line in said.splitlines() if line and not line.startswith(("[", "open "))]
    one = Try(before.night.name, what, code, lines[0] if lines else "", [])
    if code not in (0, 1, 3):
        one.wrong.append(f"exit code {code}: {said[-600:]}")
    digest, faults = forked(lambda: soundness.published(life)).value
    one.wrong += faults
    if digest not in before.published:
        one.wrong.append("published/latest is neither the one before nor the one after")
    one.wrong += again(before, life)
    if not one.wrong:
        one.wrong += forked(lambda: compared(before, life)).value
    return one


def on_limited_files(before: Before, life: Path, n_bytes: int) -> Try:
    fresh(before, life)
    work = lambda: command(before.night.arguments, life, before.night.typed)  # noqa: E731
    return tried(before, life, f"no file over {n_bytes:,} bytes", trouble.with_file_limit(n_bytes, work))


def on_a_full_disk(before: Before, disk: Path, leave: int) -> Try:
    life = disk / "life"
    fresh(before, life)
    filler = trouble.fill(disk, leave)
    ended = forked(lambda: command(before.night.arguments, life, before.night.typed))
    filler.unlink()
    return tried(before, life, f"{leave:,} bytes free", ended)


def on_read_only(before: Before, life: Path, part: str) -> Try:
    fresh(before, life)
    modes = trouble.closed(life / part)
    ended = trouble.as_anybody(lambda: command(before.night.arguments, life, before.night.typed))
    trouble.reopened(modes)
    return tried(before, life, f"{part}/ read-only", ended)


def fresh(before: Before, life: Path) -> None:
    nights.delete(life)
    shutil.copytree(before.folder, life, symlinks=True)


def in_this_disk(disk: Path, chosen: tuple[nights.Night, ...], rooms: tuple[int, ...]) -> list[Try]:
    """The nights on the small disk that is mounted at `disk`; their twin lives elsewhere."""
    with tempfile.TemporaryDirectory() as base:
        lives = undisturbed(Path(base), chosen)
        done = [on_a_full_disk(before, disk, room) for before in lives for room in rooms]
        nights.delete(Path(base))
        Path(base).mkdir()
    return done


if __name__ == "__main__":  # in a disk of its own: python full_disks.py FOLDER NIGHTS ROOM…
    nights.ready()
    disk, n, *rooms = sys.argv[1:]
    for one in in_this_disk(Path(disk), nights.NIGHTS[: int(n)], tuple(int(room) for room in rooms)):
        print(one.exit_code, one.night, "|", one.trouble, "|", one.said, "|", one.wrong)
    print("done")
