"""`evenbeam rebuild`: the store once more from the kept files, compared with the one as it is."""

from __future__ import annotations

import argparse
from datetime import datetime

from pipeline.commands.option_types import add_programme
from pipeline.commands.telling import SHOWN_FILES, print_some, typed_command

SENTENCE = (
    "Build the store again from the kept files, compare it with the one as it is, and put it in its "
    "place."
)
EXAMPLE = "evenbeam rebuild programme.toml --check"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("--check", action="store_true", help="only compare: ends with 1 where they differ")


def does(options: argparse.Namespace) -> int:
    from pipeline.rebuilding import rebuild as build_again
    from pipeline.terminal import Terminal

    terminal = Terminal()
    done = build_again(
        options.programme,
        started_at=datetime.now(),
        on_step=terminal.step,
        progress=terminal.progress,
        is_check=options.check,
    )
    terminal.finish()
    print_some(done.intake.messages, SHOWN_FILES, "more files set aside")
    print(f"{done.files} files read again; {done.intake.rows_accepted} rows accepted")
    for one in done.differences:
        print(
            f"differs  {one.table}: {one.only_before} rows only as it was, {one.only_rebuilt} only as rebuilt"
        )
    if done.why_from_list:
        print(f"{done.why_from_list}: the archive's own list said which files there are, and nothing could be compared")
    elif not done.differences:
        print(f"the same in all {done.tables} tables of readings, tallies and results")
    elif not options.check:
        print("profiles, settings or the program changed since those files were read, or the store was damaged")
    if options.check:
        print("nothing was changed; without --check the rebuilt store takes the old one's place")
        return 1 if done.differences or done.why_from_list else 0
    print(f"run  {typed_command('run', options.programme)}")
    return 0
