"""A file that has arrived, in the inbox or in a source; and what lies where files are looked for and is none."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.faults import Fault, printable

if TYPE_CHECKING:
    from pipeline.intake.sources.source import Remote

LONGEST_NAME = 300  # characters of a path in a message
_UNFINISHED = (
    ".part",
    ".partial",
    ".tmp",
    ".temp",
    ".crdownload",
    ".filepart",
    ".download",
    ".swp",
    ".bak",
    "~",
)


@dataclass(frozen=True)
class Arrival:
    """One file of a known site, in the inbox or in a source."""

    site: str
    path: Path
    name: str  # below the site's folder, as the ledger shows it; behind the source's name where it comes from one
    remote: Remote | None = None  # in a source: nothing stands at `path` until it is fetched

    @property
    def where(self) -> str:
        return f"{self.site}/{self.name}"


@dataclass(frozen=True)
class PassedOver:
    """Something in the inbox that is not read, and why."""

    message: str
    is_misplaced: bool  # somebody must move or rename it; else it waits, or means nothing


def is_unfinished(name: str) -> bool:
    """Hidden, temporary, or still being sent."""
    return name.startswith((".", "~$")) or name.lower().endswith(_UNFINISHED)


def pass_over(where: str, found: str, next_step: str, *, is_misplaced: bool = True) -> PassedOver:
    shown = printable(where, LONGEST_NAME)
    return PassedOver(str(Fault("passed over", where=shown, found=found, next=next_step)), is_misplaced)
