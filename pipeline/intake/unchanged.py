"""Accepted files that lie in the inbox as they did when they were read: known without reading them again.

An inbox that nobody empties would otherwise be read whole every night. Every way of writing to a file, or of putting
another in its place, changes what is compared (pipeline/release/contents.py says what is not found so); a file that was
changed shortly before a run is known by its looks from the next run on, since some disks tell moments no finer than in
seconds.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.intake.arrival import Arrival
from pipeline.store import Store

_COARSEST_MOMENT_NS = 2_000_000_000  # of file systems in use
_ROWS = {"site": pl.String, "name": pl.String, "looks": pl.String, "sha256": pl.String}


@dataclass(frozen=True)
class Looks:
    """What can be seen of a file without reading it."""

    inode: int
    size: int
    written_ns: int
    changed_ns: int

    @classmethod
    def of(cls, found: os.stat_result) -> Looks:
        return cls(found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)

    def __str__(self) -> str:
        return f"{self.inode} {self.size} {self.written_ns} {self.changed_ns}"

    def are_older_than(self, moment_ns: int) -> bool:
        """Whether a change after that moment could not look the same."""
        return max(self.written_ns, self.changed_ns) < moment_ns - _COARSEST_MOMENT_NS


def unchanged(store: Store, arrivals: Iterable[Arrival]) -> dict[Arrival, str | None]:
    """Those of the arrivals that are accepted files of the inbox, and look as they did then; each with the sha256 of
    the profile that it was read with."""
    known = {
        (site, name): (looks, profile)
        for site, name, looks, profile in store.rows(
            "select inbox_file.site, inbox_file.name, inbox_file.looks, file.profile_sha256 "
            "from ledger.inbox_file join ledger.file using (site, sha256) where file.state = 'accepted'"
        )
    }
    found = {}
    for arrival in arrivals:
        looks, profile = known.get((arrival.site, arrival.name), (None, None))
        if looks is not None and arrival.remote is None and looks == _looks_of(arrival.path):
            found[arrival] = profile
    return found


def forget_others(store: Store, known: Collection[Arrival]) -> None:
    """Keep nothing of files that are gone from the inbox, or look otherwise."""
    if store.value("select count(*) from ledger.inbox_file") > len(known):
        rows = [(arrival.site, arrival.name) for arrival in known]
        schema = {"site": pl.String, "name": pl.String}
        with store.lent("stays", pl.DataFrame(rows, schema=schema, orient="row")):
            store.execute("delete from ledger.inbox_file where (site, name) not in (select (site, name) from stays)")


def remember(store: Store, files: Sequence[tuple[Arrival, Looks, str]]) -> None:
    """That accepted files looked like this before their bytes, of this sha256, were read."""
    rows = [(arrival.site, arrival.name, str(looks), sha256) for arrival, looks, sha256 in files]
    if rows:
        with store.lent("seen", pl.DataFrame(rows, schema=_ROWS, orient="row")):
            store.execute("insert or replace into ledger.inbox_file by name select * from seen")


def _looks_of(path: Path) -> str | None:
    with suppress(OSError):  # gone, or closed to us: its reading says so
        found = path.lstat()
        if stat.S_ISREG(found.st_mode):
            return str(Looks.of(found))
    return None
