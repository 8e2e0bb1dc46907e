"""`evenbeam status`: what came, what is held, what is late."""

from __future__ import annotations

import argparse
import json
from datetime import date

from pipeline.commands.option_types import add_programme, day
from pipeline.faults import SettingsFault

SENTENCE = "Show the last run, each site's files and where every row went."
EXAMPLE = "evenbeam status programme.toml --site north-quay"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("--site", metavar="ID", help="one site, file by file")
    parser.add_argument("--held", action="store_true", help="with --site: every held row of that site, and why")
    parser.add_argument("--runs", action="store_true", help="every run, newest first, with what it received")
    parser.add_argument(
        "--page", action="store_true", help="write the history of runs as a page, reports/runs.html, and say where"
    )
    parser.add_argument("--json", action="store_true", help="the same as JSON, every file and run included")
    parser.add_argument(
        "--as-of", type=day, metavar="DATE", help="which sites are late on this day (default: today)"
    )


def does(options: argparse.Namespace) -> int:
    from pipeline.status import read_status, show_status

    if options.page:
        from pipeline.feedback.run_history import write_history

        print(f"open {write_history(options.programme, as_of=options.as_of or date.today())}")
        return 0
    if options.held and not options.site:
        raise SettingsFault("which site?", expected="--held together with --site ID", next="name the site")
    found = read_status(
        options.programme,
        as_of=options.as_of or date.today(),
        held_rows_of=[options.site] if options.held else [],
    )
    if options.json:
        print(json.dumps(found, indent=1, sort_keys=True, default=str))
    else:
        show_status(found, site=options.site, held=options.held, runs=options.runs)
    return 0
