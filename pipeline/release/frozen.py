"""The folder `published/releases/`: one folder a frozen version, 2025Q3 and, restated, 2025Q3.2, 2025Q3.3.

A version is built under a hidden name beside the others, made read-only, flushed to disk and named by one rename, so
that a folder with a period's name is always whole. Nothing here ever writes into a named folder, or deletes one.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipeline.durable import flush, make_folder
from pipeline.faults import Fault
from pipeline.release.versions import flush_all

RELEASES = "releases"
UNFINISHED = ".unfinished"
_NAME = re.compile(r"(\d{4}(?:Q[1-4]|-(?:0[1-9]|1[0-2])))(?:\.([1-9]\d*))?")


@dataclass(frozen=True, order=True)
class Version:
    """One frozen version of one period."""

    period: str
    number: int

    @property
    def name(self) -> str:
        return self.period if self.number == 1 else f"{self.period}.{self.number}"


def versions_in(published: Path) -> list[Version]:
    """Every frozen version, by period and number."""
    folder = published / RELEASES
    if not folder.is_dir():
        return []
    found = [_NAME.fullmatch(path.name) for path in folder.iterdir() if path.is_dir()]
    return sorted(Version(match[1], int(match[2] or 1)) for match in found if match)


def folder_of(published: Path, version: Version) -> Path:
    return published / RELEASES / version.name


@contextmanager
def unfinished_folder(published: Path) -> Iterator[Path]:
    """An empty folder to build a version in; gone after the block unless `finish` took it.

    Errors   Fault when `published/releases` is not a folder.
    """
    releases = published / RELEASES
    if releases.is_symlink() or (releases.exists() and not releases.is_dir()):
        raise Fault(
            "cannot freeze",
            where=str(releases),
            found="a link or a file",
            expected="a folder, or nothing yet",
            next="move it aside and try again; nothing was frozen",
        )
    make_folder(releases)
    folder = releases / UNFINISHED
    _delete(folder)  # left by a run that was cut off
    folder.mkdir()
    try:
        yield folder
    finally:
        _delete(folder)


def finish(published: Path, folder: Path, version: Version) -> Path:
    """Make what was built read-only and give it its name.

    Errors   Fault when the name is taken: a frozen folder is never replaced.
    """
    target = folder_of(published, version)
    if target.exists() or target.is_symlink():
        raise Fault(
            "already frozen",
            where=str(target),
            expected="a version that is not there yet",
            next="a later one is a restatement: evenbeam release PROGRAMME.toml PERIOD --why TEXT",
        )
    flush_all(folder)
    for path in sorted(folder.rglob("*"), reverse=True):
        path.chmod(0o555 if path.is_dir() else 0o444)
    folder.rename(target)
    target.chmod(0o555)
    flush(published / RELEASES)
    return target


def _delete(folder: Path) -> None:
    """Delete an unfinished version, which may be read-only by now."""
    if folder.is_symlink() or folder.is_file():
        folder.unlink()
    elif folder.exists():
        for path in (folder, *folder.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                path.chmod(0o755)
        shutil.rmtree(folder)
