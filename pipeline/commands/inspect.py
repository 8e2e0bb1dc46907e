"""`evenbeam inspect`: an unknown file, and the profile that would read it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

SENTENCE = "Read an unknown file and propose a site profile, with the reason for each guess."
EXAMPLE = "evenbeam inspect export.csv > profiles/my-site.toml"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", type=Path, help="a CSV, TSV, XLSX, NDJSON, FHIR or Parquet file, gzip or not")


def does(options: argparse.Namespace) -> int:
    from pipeline.intake.inspect import inspect_file

    inspection = inspect_file(options.file)
    print(inspection.profile_toml, end="" if inspection.profile_toml.endswith("\n") else "\n")
    for finding in inspection.direct_identifiers:
        print(f"stop  {finding}", file=sys.stderr)
    for reason in inspection.reasons:
        print(f"why   {reason}", file=sys.stderr)
    for question in inspection.undecided:
        print(f"open  {question}", file=sys.stderr)
    if inspection.undecided:
        print(
            "next: settle the open points in the profile, then run `evenbeam run PROGRAMME.toml`",
            file=sys.stderr,
        )
    else:
        print(
            "next: save this as the site's profile, then run `evenbeam run PROGRAMME.toml`", file=sys.stderr
        )
    return 0
