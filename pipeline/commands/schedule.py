"""`evenbeam schedule`: runs at fixed times, through a Prefect server."""

from __future__ import annotations

import argparse

from pipeline.commands.option_types import add_programme, count

SENTENCE = "Run on a cron schedule against a Prefect server, until stopped."
EXAMPLE = "evenbeam schedule programme.toml --cron '0 3 * * *'"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument(
        "--cron",
        default="0 3 * * *",
        metavar="FIELDS",
        help="when, as five cron fields in this machine's time (default: 0 3 * * *, every night at 03:00)",
    )
    parser.add_argument(
        "--time-limit",
        type=count,
        default=360,
        metavar="MINUTES",
        help="stop a run that takes longer (default: 360)",
    )


def does(options: argparse.Namespace) -> int:
    from pipeline.schedule import serve

    serve(options.programme, cron=options.cron, time_limit=options.time_limit * 60)
    return 0
