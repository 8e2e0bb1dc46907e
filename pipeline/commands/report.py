"""`evenbeam report`: each site's page on its own files."""

from __future__ import annotations

import argparse
import sys

from pipeline.commands.option_types import add_programme

SENTENCE = "Write each site a page on its own files: which lines to correct, and what became of the rest."
EXAMPLE = "evenbeam report programme.toml --site north-quay"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("--site", metavar="ID", help="one site (default: a page for each)")


def does(options: argparse.Namespace) -> int:
    from pipeline.feedback.site_page import write_feedback

    written = write_feedback(options.programme, [options.site] if options.site else [])
    for path in written:
        print(f"wrote {path}")
    print(
        "for each site alone: the pages name lines and values as received, so they are not for publication",
        file=sys.stderr,
    )
    print(f"open {written[0]}")
    return 0
