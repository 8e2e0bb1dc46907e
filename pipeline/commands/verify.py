"""`evenbeam verify`: frozen releases against their manifests."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from pipeline.faults import printable

SENTENCE = (
    "Check every file of a frozen release against its manifest, and its tables against their "
    "description."
)
EXAMPLE = "evenbeam verify published/releases/2025Q3"


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "target",
        type=Path,
        metavar="FOLDER",
        help="a frozen folder, or a programme's settings for all of its releases",
    )
    parser.add_argument("period", nargs="?", help="with a programme: only this period's versions")


def does(options: argparse.Namespace) -> int:
    from pipeline.verifying import verify_all

    verdicts = verify_all(options.target, options.period)
    for verdict in verdicts:
        for fault in verdict.faults:
            print(printable(fault, 400))
        state = f"{len(verdict.faults)} faults" if verdict.faults else f"sound, {verdict.files} files"
        print(f"{verdict.folder}: {state}; manifest {verdict.manifest_sha256}")
    if any(not verdict.is_sound for verdict in verdicts):
        print(
            "next: put the folder back from a backup; figures that must change are a restatement, "
            "evenbeam release PROGRAMME.toml PERIOD --why TEXT",
            file=sys.stderr,
        )
        return 1
    return 0
