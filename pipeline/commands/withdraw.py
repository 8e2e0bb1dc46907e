"""`evenbeam withdraw`: somebody taken out of store, kept files and results."""

from __future__ import annotations

import argparse
import sys
from datetime import date, datetime
from pathlib import Path

from pipeline.commands.option_types import add_as_of, add_programme
from pipeline.faults import printable

SENTENCE = (
    "Remove a participant from store, kept files and results. The member number is read from standard "
    "input or a file, one a line, and never from the command line."
)
EXAMPLE = "evenbeam withdraw programme.toml --from number.txt"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument(
        "--from",
        dest="source",
        type=Path,
        metavar="FILE",
        help="a file with the member number as the site writes it; without it, asked for or read from standard input",
    )
    parser.add_argument(
        "--site", metavar="ID", help="the site whose own number it is, where numbers are a site's own"
    )
    parser.add_argument(
        "--in-advance",
        action="store_true",
        help="keep the wish of somebody of whom no row is there yet",
    )
    add_as_of(parser)


def does(options: argparse.Namespace) -> int:
    import getpass

    from pipeline.commands.telling import print_damaged_copies
    from pipeline.intake.amounts import amount
    from pipeline.terminal import Terminal
    from pipeline.withdrawal import numbers_in, withdraw

    if options.source is not None:
        text = options.source.read_text(encoding="utf-8-sig")
    elif sys.stdin.isatty():
        text = getpass.getpass("Member number (not shown): ")
    else:
        text = sys.stdin.read()
    terminal = Terminal()
    done = withdraw(
        options.programme,
        numbers_in(text),
        site=options.site,
        in_advance=options.in_advance,
        as_of=options.as_of or date.today(),
        happened_at=datetime.now(),
        on_step=terminal.step,
        progress=terminal.progress,
    )
    terminal.finish()
    removed = done.removed
    print(
        f"removed {amount(removed.rows_withdrawn, 'row')} of {amount(len(removed.files), 'file')}, "
        "and the figures were rebuilt"
    )
    print_damaged_copies(removed)
    for name in done.waiting:
        print(f"note  {printable(name, 300)} still holds withdrawn rows; it belongs to its sender")
    if done.waiting:
        print(
            "      next: replace or delete these files, also at the site and in backups; a run takes no such row"
        )
    print("      releases already frozen keep their figures, which show nobody; see docs/releases.md")
    print(f"open {done.published / 'index.html'}")
    return 0
