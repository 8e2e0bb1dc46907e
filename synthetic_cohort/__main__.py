"""`python -m synthetic_cohort FOLDER`: write the demo programme.

Example: python -m synthetic_cohort demo --readings 60000 --sites 24
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from synthetic_cohort.generate import generate
from synthetic_cohort.places import MOST_SITES


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m synthetic_cohort",
        description="Write an invented programme of many sites, with its truth.",
        epilog="example: python -m synthetic_cohort demo --readings 60000 --sites 24",
    )
    parser.add_argument("folder", type=Path, help="a new or empty folder, or an earlier demo to write anew")
    parser.add_argument(
        "--readings", type=_at_least(1), default=60_000, help="readings in all (default 60000)"
    )
    parser.add_argument("--sites", type=_at_least(1), default=24, help=f"1 to {MOST_SITES} (default 24)")
    parser.add_argument("--quarters", type=_at_least(1), default=8, help="from 2024Q1 on (default 8)")
    parser.add_argument(
        "--seed", type=_at_least(0), default=20250101, help="same seed, same bytes (default 20250101)"
    )
    parser.add_argument(
        "--no-faults", action="store_true", help="leave out the mistakes of real rows and files"
    )
    chosen = parser.parse_args(arguments)
    try:
        generate(
            chosen.folder,
            readings=chosen.readings,
            sites=chosen.sites,
            quarters=chosen.quarters,
            seed=chosen.seed,
            faults=not chosen.no_faults,
            progress=_say,
        )
    except (ValueError, FileExistsError, NotADirectoryError) as error:
        parser.error(str(error))
    print(
        f"{chosen.readings} invented readings of {chosen.sites} sites written; the truth is in "
        f"{chosen.folder / 'truth' / 'README.md'}"
    )
    print(f"next: evenbeam run {chosen.folder / 'programme.toml'}")
    return 0


def _at_least(low: int):
    def whole_number(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            value = low - 1
        if value < low:
            raise argparse.ArgumentTypeError(f"found {text}; expected a whole number of at least {low}")
        return value

    return whole_number


def _say(done: int, total: int, what: str) -> None:
    print(f"{done}/{total} {what}", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
