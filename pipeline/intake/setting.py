"""What all files of a run share."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipeline.programme import Programme

ReadFile = Callable[[str, Callable[[], Any]], Any]  # (site and name of a new file, or of a pass, and its reading)


@dataclass(frozen=True)
class Setting:
    """What all files of a run share."""

    programme: Programme
    as_of: date
    received_at: datetime
    run_id: int
    pads: tuple[bytes, bytes]
    tombstones: frozenset[str] = frozenset()  # of everybody who withdrew
    first_period: str | None = None  # the first period whose readings are kept; None: every one
    begun_ns: int = 0  # by the clock of the store's disk; 0: nothing is remembered of how files look
    read_file: ReadFile = lambda where, read: read()  # a scheduler puts its own watch around it

    @property
    def archive(self) -> Path:
        return self.programme.store / "archive"

    @property
    def spool(self) -> Path:
        return spool_of(self.programme)


def first_period_kept(programme: Programme, as_of: date, now: datetime) -> str | None:
    """The first period whose readings are kept on a day; None: every one is.

    A day in the future, mistyped say, must not count anything as past its time.
    """
    settings = programme.settings
    return settings.retention.first_period(min(as_of, now.date()), settings.period)


def spool_of(programme: Programme) -> Path:
    """Where copies lie while files are read."""
    return programme.store / "spool"


@contextmanager
def empty_spool(programme: Programme) -> Iterator[Path]:
    """That folder, without what a run that was killed left there; closed to others, and gone afterwards."""
    spool = spool_of(programme)
    shutil.rmtree(spool, ignore_errors=True)
    spool.mkdir(parents=True, mode=0o700)
    try:
        yield spool
    finally:
        shutil.rmtree(spool, ignore_errors=True)
