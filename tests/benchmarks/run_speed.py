"""How long a run takes, beside the floor and beside what somebody would write instead:
`python tests/benchmarks/run_speed.py [--readings N …] [--sites 200] [--folder FOLDER] [--profile]`.

Each line of the table is a process of its own over the same CSV files (even_sites.py), one after the other in one go,
so that ratios hold on a machine that does other work too: compare seconds of processor time, all threads together.
Memory is the largest resident size of the process and its children. The last hundredth of the readings comes in a
second run, as the files of the last nights would; curves, analysers and outcomes wait for their day then
([results] over_periods_every_days), and a third run works them out. Writes tests/benchmarks/results/run_speed.md.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from pathlib import Path

import psutil
from even_sites import last_files_arrive, write_programme

HERE = Path(__file__).parent
RESULTS = HERE / "results" / "run_speed.md"
RECORDS = HERE / "results" / "run_speed.json"
SIZES = (100_000, 1_000_000, 10_000_000)  # 100_000_000 on request: it needs 60 GB of disk, and an hour
WHOLE_IN_MEMORY = 10_000_000  # scripts that hold every reading at once go no further
MEMORY_BEYOND = "4GB"  # [limits] memory of a programme that is larger; the default of 2 GB would spill more
AS_OF = date(2026, 1, 15)
TARGET_OF_FLOOR, TARGET_OF_NIGHT, TARGET_OF_START = 4.0, 0.10, 0.5
TARGET_OF_MEMORY = {10_000_000: 4 * 2**30, 100_000_000: 8 * 2**30}
BESIDE = (
    ("floor", "floor: DuckDB, known types, one grouped quantile query", "instead/floor.py"),
    ("polars", "plain Polars script", "instead/plain_polars.py"),
    ("pandas", "plain pandas script", "instead/plain_pandas.py"),
    ("alone", "most figures by DuckDB alone, nothing checked or protected", "instead/plain_duckdb.py"),
)
RUNS = (
    ("first", "`evenbeam run`, 99 % of the readings"),
    ("night", "`evenbeam run`, the last 1 %; curves, analysers and outcomes wait"),
    ("waited", "`evenbeam run --all-figures`, what waited"),
    ("idle", "`evenbeam run`, nothing new"),
)


@dataclass
class Cost:
    seconds: float
    processor: float
    peak_bytes: int
    store_bytes: int = 0
    steps: dict[str, float] = field(default_factory=dict)  # seconds of processor time
    spent: list[tuple[str, int, float]] = field(default_factory=list)  # where a profiled run spent them
    sites: int = 0
    readings: int = 0
    peaks: dict[str, int] = field(default_factory=dict)  # bytes resident at most, up to the end of a step


def measured(command: list[str]) -> Cost:
    """One process from its start to its end; its last line may be a JSON object of more."""
    started = time.perf_counter()
    with tempfile.TemporaryFile("w+") as out:
        process = subprocess.Popen(command, stdout=out, env=_environment())
        peak, watched = 0, psutil.Process(process.pid)
        while True:
            pid, status, usage = os.wait4(process.pid, os.WNOHANG)
            if pid:
                break
            peak = max(peak, _resident(watched))
            time.sleep(0.2)  # looking costs time too
        process.returncode = os.waitstatus_to_exitcode(status)
        seconds = time.perf_counter() - started
        if process.returncode:
            sys.exit(f"{' '.join(command)} ended with {process.returncode}")
        out.seek(0)
        last = out.read().strip().splitlines()[-1]
    peak = max(peak, usage.ru_maxrss * 1024)
    told = json.loads(last) if last.startswith("{") else {}
    return Cost(seconds, usage.ru_utime + usage.ru_stime, peak, **told)


def _environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(HERE.parents[1])}


def _resident(process: psutil.Process) -> int:
    try:
        return sum(one.memory_info().rss for one in [process, *process.children(recursive=True)])
    except psutil.Error:
        return 0


def run_once(folder: Path, is_profiled: bool, all_figures: bool) -> None:
    """In a process of its own: one run, and as its last line what each step took."""
    from where_time_goes import Spent

    from pipeline import flow, running

    steps: dict[str, float] = {}

    def perform(step: flow.Step, run: flow.Run) -> None:
        before = time.process_time()
        step.does(run)
        steps[step.title] = time.process_time() - before

    spent = Spent.watch() if is_profiled else None
    running.run(
        folder / "programme.toml", as_of=AS_OF, started_at=datetime(2026, 1, 15, 3), perform=perform,
        on_step=lambda *_: None, progress=lambda *_: None, is_everything_asked_for=all_figures,
    )  # fmt: skip
    size = sum(file.stat().st_size for file in (folder / "store").glob("evenbeam.duckdb*"))
    told = {"store_bytes": size, "steps": steps, "spent": spent.largest() if spent else []}
    print(json.dumps(told))


def costs_of(folder: Path, readings: int, sites: int, is_profiled: bool) -> dict[str, Cost]:
    """Every line of one size."""
    _say(f"writing {readings:,} readings of {sites} sites")
    write_programme(folder, readings, sites)
    _let_figures_wait(folder / "programme.toml", readings)
    once = [sys.executable, str(Path(__file__)), "--once", str(folder), *(["--profile"] if is_profiled else [])]
    costs = {}
    for name, title in RUNS:
        if name == "night":
            last_files_arrive(folder)
        _say(title)
        costs[name] = measured([*once, "--all-figures"] if name == "waited" else once)
    for name, title, script in BESIDE:
        if name != "floor" and readings > WHOLE_IN_MEMORY:
            continue
        _say(title)
        costs[name] = measured([sys.executable, str(HERE / script), str(folder)])
    for cost in costs.values():
        cost.sites = sites
    return costs


def _let_figures_wait(settings: Path, readings: int) -> None:
    text = settings.read_text(encoding="utf-8")
    tables = "[results]\nover_periods_every_days = 7\n\n"
    if readings > WHOLE_IN_MEMORY:
        tables += f'[limits]\nmemory = "{MEMORY_BEYOND}"\n\n'
    settings.write_text(text.replace("[[site]]", f"{tables}[[site]]", 1), encoding="utf-8")


def starts() -> dict[str, Cost]:
    """How long a command takes to answer; the smallest of five, since other work only ever adds."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        write_programme(Path(folder) / "p", 2000, 4)
        measured([sys.executable, str(Path(__file__)), "--once", f"{folder}/p"])
        for arguments in (["--help"], ["status", f"{folder}/p"]):
            tries = [measured([sys.executable, "-m", "pipeline.cli", *arguments]) for _ in range(5)]
            found[arguments[0]] = min(tries, key=lambda cost: cost.processor)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--readings", type=int, nargs="+", default=SIZES)
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--folder", type=Path, help="where to work; a temporary folder otherwise")
    parser.add_argument("--profile", action="store_true", help="tell where the time goes; takes a little itself")
    parser.add_argument("--once", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--all-figures", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.once:
        run_once(chosen.once, chosen.profile, chosen.all_figures)
        return
    from run_speed_page import page

    folder = chosen.folder or Path(tempfile.mkdtemp(prefix="run-speed-"))
    records = json.loads(RECORDS.read_text()) if RECORDS.exists() else {}
    for readings in chosen.readings:
        costs = costs_of(folder / str(readings), readings, chosen.sites, chosen.profile)
        records[str(readings)] = {name: asdict(cost) for name, cost in costs.items()}
        shutil.rmtree(folder / str(readings))
        RECORDS.write_text(json.dumps(records, indent=1) + "\n")
    records["start"] = {name: asdict(cost) for name, cost in starts().items()}
    RECORDS.write_text(json.dumps(records, indent=1) + "\n")
    RESULTS.write_text(page(records), encoding="utf-8")
    print(page(records))


def _say(what: str) -> None:
    print(f"{datetime.now():%H:%M:%S} {what}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
