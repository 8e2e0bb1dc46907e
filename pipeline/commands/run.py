"""`evenbeam run`: new files in, everything computed, published/latest written."""

from __future__ import annotations

import argparse

from pipeline.commands.option_types import add_as_of, add_programme
from pipeline.commands.telling import run_and_tell

SENTENCE = "Read new files, compute everything and publish to published/latest."
EXAMPLE = "evenbeam run programme.toml"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    add_as_of(parser)
    parser.add_argument(
        "--publish-again",
        action="store_true",
        help="publish also where published/latest already says all there is to say; its pages then name this day",
    )
    parser.add_argument(
        "--all-figures",
        action="store_true",
        help="work out curves, analysers and outcomes too, where [results] lets them wait for their day",
    )


def does(options: argparse.Namespace) -> int:
    from pipeline.terminal import Terminal

    outcome = run_and_tell(
        options.programme,
        options.as_of,
        Terminal(),
        publish_again=options.publish_again,
        all_figures=options.all_figures,
    )
    print(f"open {outcome.published / 'index.html'}")
    return outcome.exit_code
