"""What publishing costs: a night with nothing new, publishing all the same, and one more file of one site.

    python tests/benchmarks/publishing_speed.py --readings 20000 [--sites 24] [--against FOLDER]

`--against` names another checkout of this program, such as the one before a change: the same nights are run with it,
turn by turn, so that both meet the same other work on the machine; where they publish other bytes, it stops. Prints a
Markdown table of processor seconds.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from fastexcel import read_excel

from synthetic_cohort.generate import generate

HERE = Path(__file__).parents[2]
AS_OF = ("--as-of", "2026-01-15")


def run(program: Path, folder: Path, *options: str) -> float:
    """One run in a process of its own; the processor seconds it took."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli", "run", str(folder), *AS_OF, *options],
        env={**os.environ, "PYTHONPATH": str(program)}, cwd=program, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode not in (0, 3):
        raise SystemExit(done.stderr)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def files_of(folder: Path) -> dict[str, object]:
    """Every published file's bytes; of the workbook its cells, which can be packed in more than one way."""
    latest = folder / "published" / "latest"
    files: dict[str, object] = {
        str(path.relative_to(latest)): path.read_bytes() for path in latest.rglob("*") if path.is_file()
    }
    book = read_excel(latest / "tables.xlsx")
    files["tables.xlsx"] = [book.load_sheet(name, header_row=None).to_polars().rows() for name in book.sheet_names]
    return files


def nights(programs: dict[str, Path], readings: int, sites: int) -> tuple[dict[str, dict[str, float]], str]:
    """Night → program → processor seconds; and how many published files one more file of one site changes."""
    spent: dict[str, dict[str, float]] = {}
    with tempfile.TemporaryDirectory() as place:
        made = Path(place) / "made"
        generate(made, readings=readings, sites=sites)
        late = max(min((made / "inbox").iterdir()).iterdir())
        shutil.move(late, Path(place) / late.name)
        folders = {name: Path(shutil.copytree(made, Path(place) / f"of {name}")) for name in programs}

        def night(title: str, *options: str) -> None:
            for name, program in programs.items():
                spent.setdefault(title, {})[name] = run(program, folders[name], *options)
            if any(files_of(folder) != files_of(folders["now"]) for folder in folders.values()):
                raise SystemExit(f"{title}: the two programs publish other bytes")

        night("first run")
        night("nothing new")
        if "now" in programs:
            spent["nothing new, published again"] = {"now": run(HERE, folders["now"], "--publish-again")}
        before = files_of(folders["now"])
        for folder in folders.values():
            shutil.copy(Path(place) / late.name, folder / "inbox" / late.parent.name / late.name)
        night("one more file of one site")
        after = files_of(folders["now"])
    same = sum(after[name] == content for name, content in before.items() if name in after)
    return spent, f"{len(after) - same} of {len(after)} published files are others, on the same day"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--readings", type=int, default=20_000)
    parser.add_argument("--sites", type=int, default=24)
    parser.add_argument("--against", type=Path)
    options = parser.parse_args()
    programs = {"before": options.against.resolve()} if options.against else {}
    programs["now"] = HERE
    spent, changed = nights(programs, options.readings, options.sites)
    readings = f"{options.readings:,}".replace(",", " ")
    print(f"| {readings} readings, {options.sites} sites | {' | '.join(programs)} |")
    print(f"| --- | {' | '.join('---:' for _ in programs)} |")
    for title, seconds in spent.items():
        cells = [f"{seconds[name]:.1f}" if name in seconds else "" for name in programs]
        print(f"| {title} | {' | '.join(cells)} |")
    print(f"\nAfter one more file of one site {changed}.")


if __name__ == "__main__":
    main()
