"""What commands print alike: the course of a run, a few messages of many, a command to type next."""

from __future__ import annotations

import shlex
import shutil
import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline import running
    from pipeline.removal.removing import Removed
    from pipeline.terminal import Terminal

SHOWN_FILES = 20
_SHOWN_ROW_MESSAGES = 3


def run_and_tell(
    path: Path,
    as_of: date | None,
    terminal: Terminal,
    *,
    publish_again: bool = False,
    all_figures: bool = False,
) -> running.Outcome:
    """Run a programme as of a day, or of today, and say on the terminal what came of it."""
    from pipeline import running

    outcome = running.run(
        path,
        as_of=as_of or date.today(),
        started_at=datetime.now(),
        on_step=terminal.step,
        progress=terminal.progress,
        is_day_given=as_of is not None,
        is_publication_asked_for=publish_again,
        is_everything_asked_for=all_figures,
    )
    terminal.finish()
    print_some(outcome.intake.messages, SHOWN_FILES, "more files or folders set aside")
    print_some(outcome.intake.row_messages, _SHOWN_ROW_MESSAGES, "more files with held rows")
    if outcome.intake.rows_held or len(outcome.intake.messages) > SHOWN_FILES:
        print(f"every file and held row: {typed_command('status', path)} --site ID --held")
    _print_removed(outcome.removed)
    for remark in outcome.remarks:
        print(remark)
    print(outcome.intake.sentence())
    if not outcome.publication.is_new:
        print(outcome.publication.sentence())
    return outcome


def _print_removed(removed: Removed) -> None:
    """What left at the beginning of a run, past its time or withdrawn."""
    if removed.rows_expired:
        before = f" (periods before {removed.first_period})" if removed.first_period else ""
        print(f"removed  {removed.rows_expired} rows past [retention] readings{before}")
    if removed.rows_withdrawn:
        print(f"removed  {removed.rows_withdrawn} rows of people who withdrew, found in the store again")
    if past := removed.copies - removed.copies_damaged:
        print(f"removed  {past} kept copies of files past [retention]")
    print_damaged_copies(removed)


def print_damaged_copies(removed: Removed) -> None:
    """Copies out of which nobody could take the lines that had to go, and which went whole."""
    if removed.copies_damaged:
        from pipeline.intake.amounts import amount

        print(
            f"removed  {amount(removed.copies_damaged, 'kept file')} of store/archive with rows that had to go, "
            "damaged or gone before, or workbooks of several sheets read before their profile changed"
        )
        print("      next: nothing for the figures; without them `evenbeam rebuild` can no longer build the store")


def typed_command(name: str, path: Path) -> str:
    """A command that can be typed as it is printed: also where evenbeam is not on the path, or a name has blanks."""
    program = "evenbeam" if shutil.which("evenbeam") else sys.argv[0]
    return f"{shlex.quote(program)} {name} {shlex.quote(str(path))}"


def print_some(messages: list[str], most: int, rest: str) -> None:
    """The first few messages in full; a pile of files can have thousands, and the ledger keeps them all."""
    for message in messages[:most]:
        print(message)
    if len(messages) > most:
        print(f"      … and {len(messages) - most:,} {rest}")
