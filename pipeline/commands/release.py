"""`evenbeam release`: a period frozen for good."""

from __future__ import annotations

import argparse
from datetime import date

from pipeline.commands.option_types import add_as_of, add_programme

SENTENCE = (
    "Freeze a period under published/releases, for good; with --why, a later version beside the earlier "
    "ones."
)
EXAMPLE = "evenbeam release programme.toml 2025Q3"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("period", help="2025Q3 or 2025-07, as the programme's periods are")
    parser.add_argument(
        "--why",
        metavar="TEXT",
        help="the reason for a restatement, published with it: 'late files from north-quay'",
    )
    parser.add_argument(
        "--keep-small-changes",
        action="store_true",
        help="keep the earlier figure wherever the change could point to a few people",
    )
    parser.add_argument("--before-its-end", action="store_true", help="freeze a period that has not ended yet")
    add_as_of(parser)


def does(options: argparse.Namespace) -> int:
    from pipeline.freezing import freeze
    from pipeline.terminal import Terminal

    terminal = Terminal()
    done = freeze(
        options.programme,
        options.period,
        why=options.why,
        keep_small_changes=options.keep_small_changes,
        before_its_end=options.before_its_end,
        as_of=options.as_of or date.today(),
        on_step=terminal.step,
        progress=terminal.progress,
    )
    terminal.finish()
    for remark in done.remarks:
        print(remark)
    if done.figures_changed is not None:
        print(f"{done.figures_changed} figures changed; data/restatement.csv names each, old and new")
    print(f"frozen  {done.folder}")
    print(
        f"sha256 of its manifest: {done.manifest_sha256}\n      note it somewhere else: it vouches for every file"
    )
    print(f"open {done.folder / 'index.html'}")
    return 0
