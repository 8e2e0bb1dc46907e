"""`evenbeam trace`: the readings behind one prevalence figure."""

from __future__ import annotations

import argparse
import sys

from pipeline.commands.option_types import add_programme, ages
from pipeline.faults import printable

SENTENCE = "List the readings, files and lines behind one prevalence figure."
EXAMPLE = "evenbeam trace programme.toml --banding bmi_adult --band obesity_1 --period 2025Q3 --ages 20-99"


def add_options(parser: argparse.ArgumentParser) -> None:
    add_programme(parser)
    parser.add_argument("--banding", required=True, help="as in the published table")
    parser.add_argument("--band", required=True, help="as in the published table")
    parser.add_argument("--period", required=True, help="2025Q3 or 2025-07")
    parser.add_argument(
        "--ages", type=ages, required=True, metavar="FROM-TO", help="an age group, such as 20-29"
    )
    parser.add_argument(
        "--sex",
        choices=["female", "male", "all"],
        default="all",
        help="as in the published table (default: all)",
    )
    parser.add_argument("--site", metavar="ID", help="one site (default: all)")


def does(options: argparse.Namespace) -> int:
    from pipeline.trace import trace_prevalence

    rows = trace_prevalence(
        options.programme,
        banding=options.banding,
        band=options.band,
        period=options.period,
        sex=options.sex,
        ages=options.ages,
        site=options.site,
    )
    print("reading_id\tsite\tfile\tline\tmeasured_on")
    for row in rows:
        print("\t".join(printable(cell, 200) for cell in row))
    print(
        f"{len(rows)} readings stand behind this figure; for the programme's own analysts, not for publication",
        file=sys.stderr,
    )
    return 0
