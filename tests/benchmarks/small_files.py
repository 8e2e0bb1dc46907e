"""What reading costs where a programme's files are small: each file a pass of its own, and passes as they are made.

    python tests/benchmarks/small_files.py [--sites 20 200] [--quarters 8] [--rows 600]

Seconds of processor time of intake alone (`receive`), one thread, over the same CSV files (even_sites.py), one way
after the other in one go; compare them by their ratio. Writes tests/benchmarks/results/small_files.md.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import even_sites

from pipeline.intake import passes, receive
from pipeline.programme import Programme
from pipeline.store import Store

RESULT = Path(__file__).parent / "results" / "small_files.md"


@dataclass(frozen=True)
class Reading:
    processor: float
    files: int
    rows: int


def read(folder: Path, files_at_most: int) -> Reading:
    """Intake of everything in the inbox into a new store, with so many files in a pass."""
    shutil.rmtree(folder / "store", ignore_errors=True)
    programme = Programme.read(folder)
    passes.FILES_AT_MOST, usual = files_at_most, passes.FILES_AT_MOST
    try:
        with Store.open(programme.store / "evenbeam.duckdb", threads=1) as store:
            before = time.process_time()
            summary = receive(
                store, programme, as_of=date(2026, 1, 15), received_at=datetime(2026, 1, 15, 3), run_id=1,
                progress=lambda done, total, what: None,
            )  # fmt: skip
            return Reading(time.process_time() - before, summary.files_accepted, summary.rows_accepted)
    finally:
        passes.FILES_AT_MOST = usual


def line(folder: Path, sites: int, rows: int) -> str:
    even_sites.write_programme(folder, rows * sites * even_sites.QUARTERS, sites)
    together, alone = read(folder, passes.FILES_AT_MOST), read(folder, 1)
    if (together.files, together.rows) != (alone.files, alone.rows):
        sys.exit(f"not the same readings: {together} and {alone}")
    a_file = [1000 * one.processor / one.files for one in (alone, together)]
    return (
        f"| {sites} | {alone.files:,} | {alone.rows:,} | {alone.processor:.1f} | {together.processor:.1f} | "
        f"{a_file[0]:.0f} | {a_file[1]:.0f} | {alone.processor / together.processor:.1f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, nargs="+", default=[20, 200])
    parser.add_argument("--quarters", type=int, default=8, help="files a site")
    parser.add_argument("--rows", type=int, default=600, help="of a file, about")
    chosen = parser.parse_args()
    even_sites.QUARTERS = chosen.quarters
    lines = []
    for sites in chosen.sites:
        with tempfile.TemporaryDirectory() as scratch:
            lines.append(line(Path(scratch) / "programme", sites, chosen.rows))
        print(lines[-1], flush=True)
    arguments = f"--sites {' '.join(map(str, chosen.sites))} --quarters {chosen.quarters} --rows {chosen.rows}"
    RESULT.write_text(
        f"""# Reading small files

Made by `python tests/benchmarks/small_files.py {arguments}`. Seconds of processor time of intake alone, one thread,
from one go: each file a pass of its own, and files together as passes are made.

| sites | files | readings | s, alone | s, together | ms a file, alone | ms a file, together | alone / together |
|---:|---:|---:|---:|---:|---:|---:|---:|
{chr(10).join(lines)}
""",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()
