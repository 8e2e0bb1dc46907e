"""How long counting and computing results take, whatever reading the files took:
`python tests/benchmarks/results_speed.py LABEL [--readings N …] [--sites 200]`.

Readings are invented straight into the store (even_readings.sql). Then the two steps between files and release run as
they do in a run, three times, each in a process of its own: 99 % of the readings, the last hundredth in time as a night
brings it, and a night that brings nothing. Seconds of processor time, all threads together. LABEL names the code that
was measured (before, after); the page shows all labels beside each other, each with all its sizes.
Writes tests/benchmarks/results/results_speed.md.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import sys
import tempfile
import time
from dataclasses import asdict
from datetime import date
from pathlib import Path

import polars as pl
from even_sites import QUARTERS, write_settings
from run_speed import _say, measured

from pipeline.programme import Programme
from pipeline.readings import build_readings
from pipeline.results import refresh_results
from pipeline.store import Store
from pipeline.tallies import build_tallies
from pipeline.waiting_figures import WorkedOut

HERE = Path(__file__).parent
RESULTS = HERE / "results" / "results_speed.md"
RECORDS = HERE / "results" / "results_speed.json"
SIZES = (100_000, 1_000_000, 10_000_000)
READINGS_A_PERSON = 2.934  # as even_readings.sql makes them
NIGHTS = ("first", "night", "idle")


def fill(folder: Path, readings: int, sites: int, *, is_late: bool) -> None:
    """Put the readings into the store: all but the last hundredth in time, or that."""
    programme = Programme.read(folder / "programme.toml")
    known = pl.DataFrame({"number": range(sites), "site": [site.id for site in programme.settings.site]})
    with _opened(programme) as store, store.transaction(), store.lent("even_site", known):
        people = round(readings / READINGS_A_PERSON)
        for statement in store.connection.extract_statements((HERE / "even_readings.sql").read_text()):
            given = {"people": people, "quarters": QUARTERS, "is_late": is_late}
            wanted = {name: given[name] for name in statement.named_parameters}
            store.connection.execute(statement, wanted).complete()


def once(folder: Path) -> None:
    """In a process of its own: both steps, and as its last line what each took."""
    from where_time_goes import Spent

    programme = Programme.read(folder / "programme.toml")
    spent = Spent.watch()
    steps, peaks = {}, {}
    with _opened(programme) as store:
        for name, does in (("counting", _count), ("results", _compute)):
            before = time.process_time()
            with store.transaction():
                does(store, programme)
            steps[name] = time.process_time() - before
            peaks[name] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
        readings = store.value("select count(*) from reading.accepted")
    told = {"readings": readings, "steps": steps, "peaks": peaks, "spent": spent.largest(60)}
    print(json.dumps(told | {"store_bytes": _size(folder)}))


def _count(store: Store, programme: Programme) -> None:
    build_readings(store, programme)
    build_tallies(store, programme)


def _compute(store: Store, programme: Programme) -> None:
    now = WorkedOut(store.value("select max(run_id) from ledger.run"), date(2026, 1, 15))
    refresh_results(store, programme, lambda *_: None, now=now, over_periods=True)


def _opened(programme: Programme) -> Store:
    limits = programme.settings.limits
    return Store.open(programme.store / "evenbeam.duckdb", memory_limit=limits.memory, threads=limits.threads)


def _size(folder: Path) -> int:
    return sum(file.stat().st_size for file in (folder / "store").glob("evenbeam.duckdb*"))


def costs_of(folder: Path, readings: int, sites: int) -> dict[str, dict]:
    write_settings(folder, sites)
    costs, itself = {}, [sys.executable, str(HERE / "results_speed.py")]
    for night in NIGHTS:
        if night != "idle":
            _say(f"inventing readings: {night}")
            measured([*itself, "--fill", str(folder), str(readings), str(sites), night])
        _say(f"counting and computing: {night}")
        cost = measured([*itself, "--once", str(folder)])
        costs[night] = asdict(cost)
    return costs


def main() -> None:
    if sys.argv[1] == "--fill":
        folder, readings, sites, night = sys.argv[2:]
        fill(Path(folder), int(readings), int(sites), is_late=night == "night")
        print("filled")
        return
    if sys.argv[1] == "--once":
        once(Path(sys.argv[2]))
        return
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("label")
    parser.add_argument("--readings", type=int, nargs="+", default=SIZES)
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--folder", type=Path, help="where to work, kept afterwards; a temporary folder otherwise")
    chosen = parser.parse_args()
    from results_speed_page import page

    folder = chosen.folder or Path(tempfile.mkdtemp(prefix="results-speed-"))
    for readings in chosen.readings:
        costs = costs_of(folder / str(readings), readings, chosen.sites)
        records = json.loads(RECORDS.read_text()) if RECORDS.exists() else {}
        records.setdefault(chosen.label, {})[str(readings)] = {"sites": chosen.sites, **costs}
        RECORDS.write_text(json.dumps(records, indent=1) + "\n")
        RESULTS.write_text(page(records), encoding="utf-8")
        if not chosen.folder:
            shutil.rmtree(folder / str(readings))
    print(RESULTS.read_text())


if __name__ == "__main__":
    main()
