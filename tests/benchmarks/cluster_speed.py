"""What a Dask cluster takes off one machine: seconds of the coordinator and of workers, and how many bytes travel.

    python tests/benchmarks/cluster_speed.py [--readings 1000000] [--demo 200000] [--workers 1 2] [--count 1000000 …]

The same files are read by one machine with one thread, and by so many worker processes of one thread each, with a
scheduler of its own, all on this machine; one after the other in one go. Seconds of processor time are each process's
own. What goes through the scheduler is the pickled size of every task and of its answer; what goes over the exchange,
the size of its Parquet files. Then, of --count readings each, what counting costs beside sending what would be counted
(count_or_send.py). Writes tests/benchmarks/results/cluster_speed.md.
"""

from __future__ import annotations

import argparse
import json
import pickle
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import even_sites
import psutil
from count_or_send import count_or_send

from pipeline.intake import on_cluster, parcel, pseudonyms, receive
from pipeline.programme import Programme
from pipeline.store import Store
from synthetic_cohort.generate import generate

RESULT = Path(__file__).parent / "results" / "cluster_speed.md"
SITES = 200
HEADER = (
    "| where | s by the clock | of one machine | coordinator, processor s | workers together | scheduler "
    "| kB a file through the scheduler | bytes a reading over the exchange |"
)


@dataclass(frozen=True)
class Way:
    """One way of reading the same files."""

    where: str
    clock: float
    coordinator: float  # seconds of processor time of the process that files
    workers: float  # of all workers together, from their start
    scheduler: float
    accepted: int
    scheduler_bytes: int
    exchange_bytes: int


class Travelled:
    """Bytes over the scheduler and over the exchange, counted where they are sent and deleted."""

    def __init__(self) -> None:
        self.scheduler = self.exchange = 0
        errand, awaited, delete = on_cluster._errand, on_cluster._awaited, parcel.delete

        def counted_errand(*args):
            made = errand(*args)
            self.scheduler += len(pickle.dumps(made))
            return made

        def counted_answer(*args):
            found = awaited(*args)
            self.scheduler += len(pickle.dumps(found))
            return found

        def counted_rows(folder):
            self.exchange += sum(path.stat().st_size for path in Path(folder).glob("*.parquet"))
            delete(folder)

        on_cluster._errand, on_cluster._awaited, parcel.delete = counted_errand, counted_answer, counted_rows


@contextmanager
def cluster(workers: int) -> Iterator[tuple[str, psutil.Process, list[psutil.Process]]]:
    """A scheduler and workers of one thread, each a process of its own: the address, and the processes."""
    with tempfile.TemporaryDirectory() as scratch:
        told = Path(scratch) / "scheduler.json"
        at = ["--scheduler-file", str(told)]
        started = [_started("dask_scheduler", "--host", "127.0.0.1", "--port", "0", *at)]
        alone = ["--nthreads", "1", "--no-nanny", "--preload", on_cluster.__name__]  # imported before it is measured
        try:
            started += [_started("dask_worker", *alone, *at) for _ in range(workers)]
            while not (told.exists() and told.read_text()):
                time.sleep(0.1)
            address = json.loads(told.read_text())["address"]
            with on_cluster.Client(address, set_as_default=False) as client:
                client.wait_for_workers(workers)
            scheduler, *others = [psutil.Process(one.pid) for one in started]
            yield address, scheduler, others
        finally:
            for one in reversed(started):
                one.terminate()
                one.wait()


def _started(command: str, *arguments: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.{command}", "--no-dashboard", *arguments], stderr=subprocess.DEVNULL
    )


def read(folder: Path, threads: int = 1) -> tuple[float, float, int]:
    """Seconds that intake takes by the clock and of this process's processor time, and the readings accepted."""
    programme = Programme.read(folder)
    with Store.open(programme.store / "evenbeam.duckdb", threads=threads) as store:
        clock, processor = time.perf_counter(), time.process_time()
        summary = receive(
            store, programme, as_of=date(2026, 1, 15), received_at=datetime(2026, 1, 15, 3), run_id=1,
            progress=lambda done, total, what: None,
        )  # fmt: skip
        return time.perf_counter() - clock, time.process_time() - processor, summary.rows_accepted


def fresh(folder: Path, engine: str = "") -> Path:
    shutil.rmtree(folder / "store", ignore_errors=True)
    settings = folder / "programme.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.split("\n[engine]")[0].rstrip() + "\n" + engine, encoding="utf-8")
    (folder / "store").mkdir()
    pseudonyms.read_key(folder / "store" / "pseudonym.key")
    return folder


def _seconds(processes: Sequence[psutil.Process]) -> float:
    return sum(sum(process.cpu_times()[:2]) for process in processes)


def ways_of(folder: Path, workers: list[int], travelled: Travelled) -> list[Way]:
    clock, processor, accepted = read(fresh(folder))
    found = [Way("one machine, one thread", clock, processor, 0, 0, accepted, 0, 0)]
    for number in workers:
        travelled.scheduler = travelled.exchange = 0
        with cluster(number) as (address, scheduler, others):
            engine = f'\n[engine]\nkind = "dask"\nscheduler = "{address}"\n'
            before = _seconds([scheduler]), _seconds(others)
            clock, processor, same = read(fresh(folder, engine))
            assert same == accepted
            called = f"{number} worker{'s' if number > 1 else ''}"
            found.append(Way(
                called, clock, processor, _seconds(others) - before[1], _seconds([scheduler]) - before[0], same,
                travelled.scheduler, travelled.exchange,
            ))  # fmt: skip
        print(found[-1], flush=True)
    fresh(folder)
    return found


def section(title: str, write: Callable[[Path], None], workers: list[int], travelled: Travelled) -> str:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "programme"
        write(folder)
        received = [path.stat().st_size for path in (folder / "inbox").rglob("*") if path.is_file()]
        ways = ways_of(folder, workers, travelled)
    alone, one = ways[0], ways[1]
    lines = [
        f"| {way.where} | {way.clock:.1f} | {way.clock / alone.clock:.2f} | {way.coordinator:.1f} | "
        + (
            f"{way.workers:.1f} | {way.scheduler:.1f} | {way.scheduler_bytes / len(received) / 1e3:.1f} | "
            f"{way.exchange_bytes / way.accepted:.0f} |"
            if way.workers
            else "| | | |"
        )
        for way in ways
    ]
    return f"""## {title}

{len(received):,} files of {sum(received) / 1e6:.0f} MB, {alone.accepted:,} readings accepted.

{HEADER}
|---|---:|---:|---:|---:|---:|---:|---:|
{chr(10).join(lines)}

With {one.where}, a million readings take {1e6 * one.coordinator / one.accepted:.1f} s of the coordinator and \
{1e6 * one.workers / one.accepted:.1f} s of the worker. A coordinator that does nothing else files \
{one.accepted / one.coordinator:,.0f} readings a second, and keeps \
{one.workers / one.coordinator:.1f} such workers busy; more would wait for it.
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--readings", type=int, default=1_000_000, help="of 200 like sites, a CSV a site and quarter")
    parser.add_argument("--demo", type=int, default=200_000, help="of the demo's sites and formats")
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument(
        "--count", type=int, nargs="*", default=[1_000_000, 2_000_000], help="readings to count or to send"
    )
    chosen = parser.parse_args()
    travelled = Travelled()
    sections = [
        section(
            f"{chosen.readings:,} readings of {SITES} sites, a CSV a site and quarter",
            lambda folder: even_sites.write_programme(folder, chosen.readings, SITES), chosen.workers, travelled,
        ),
        section(
            f"The demo's files, of ten formats: {chosen.demo:,} readings",
            lambda folder: generate(folder, readings=chosen.demo), chosen.workers, travelled,
        ),
    ]  # fmt: skip
    if chosen.count:
        sections.append(count_or_send(chosen.count, SITES))
    RESULT.write_text(
        f"""# Reading files on a Dask cluster

Made by `python tests/benchmarks/cluster_speed.py {" ".join(sys.argv[1:])}`.
Workers, scheduler and the coordinator, which files, are processes of one machine of {psutil.cpu_count()} cores, so
that the clock says little; seconds of processor time are each one's own. Load of the machine at the end, other work
among it: {psutil.getloadavg()[2]:.0f}; seconds of the same work are up to a third fewer on an idle one.

{chr(10).join(sections)}""",
        encoding="utf-8",
    )
    print(RESULT.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
