"""How much faster a Dask cluster reads files, and how many bytes travel.

    python tests/benchmarks/cluster_speed.py [READINGS] [WORKERS ...]

One machine with one thread is the baseline; then the same files with so many worker processes of one thread each, on
this machine. Beside each time stands its share of the baseline, taken in the same run. What goes through the scheduler
is the pickled size of every task and of its answer; what goes over the exchange, the size of its Parquet files.
"""

from __future__ import annotations

import pickle
import shutil
import sys
import tempfile
import time
from datetime import date, datetime
from pathlib import Path

from distributed import LocalCluster

from pipeline.intake import on_cluster, receive
from pipeline.programme import Programme
from pipeline.store import Store
from synthetic_cohort.generate import generate

RESULT = Path(__file__).parent / "results" / "cluster_speed.md"


class Travelled:
    """Bytes over the scheduler and over the exchange, counted where they are sent and deleted."""

    def __init__(self) -> None:
        self.scheduler = self.exchange = 0
        errand, awaited, delete = on_cluster._errand, on_cluster._awaited, on_cluster._delete

        def counted_errand(*args):
            made = errand(*args)
            self.scheduler += len(pickle.dumps(made))
            return made

        def counted_answer(*args):
            parcel = awaited(*args)
            self.scheduler += len(pickle.dumps(parcel))
            return parcel

        def counted_rows(folder):
            if folder:
                self.exchange += sum(path.stat().st_size for path in Path(folder).glob("*.parquet"))
            delete(folder)

        on_cluster._errand, on_cluster._awaited, on_cluster._delete = counted_errand, counted_answer, counted_rows


def read(folder: Path, threads: int = 1) -> tuple[float, int]:
    """Seconds that intake takes, and the readings accepted."""
    programme = Programme.read(folder)
    with Store.open(programme.store / "evenbeam.duckdb", threads=threads) as store:
        begun = time.perf_counter()
        summary = receive(
            store, programme, as_of=date(2026, 1, 15), received_at=datetime(2026, 1, 15, 3), run_id=1,
            progress=lambda done, total, what: None,
        )  # fmt: skip
        return time.perf_counter() - begun, summary.rows_accepted


def fresh(folder: Path, engine: str = "") -> Path:
    shutil.rmtree(folder / "store", ignore_errors=True)
    settings = folder / "programme.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.split("\n[engine]")[0].rstrip() + "\n" + engine, encoding="utf-8")
    (folder / "store").mkdir()
    on_cluster.pseudonyms.read_key(folder / "store" / "pseudonym.key")
    return folder


def main(readings: int, workers: list[int]) -> None:
    travelled = Travelled()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "programme"
        generate(folder, readings=readings)
        files = sum(path.is_file() for path in (folder / "inbox").rglob("*"))
        received = sum(path.stat().st_size for path in (folder / "inbox").rglob("*") if path.is_file())
        alone, accepted = read(fresh(folder))
        rows = [f"| one machine, one thread | {alone:.1f} | 1.00 | | |"]
        for number in workers:
            travelled.scheduler = travelled.exchange = 0
            with LocalCluster(n_workers=number, threads_per_worker=1, dashboard_address=":0") as cluster:
                engine = f'\n[engine]\nkind = "dask"\nscheduler = "{cluster.scheduler_address}"\n'
                seconds, same = read(fresh(folder, engine))
            assert same == accepted
            rows.append(
                f"| {number} worker{'s' if number > 1 else ''} | {seconds:.1f} | {seconds / alone:.2f} | "
                f"{travelled.scheduler / files / 1e3:.1f} | {travelled.exchange / accepted:.0f} |"
            )
            print(rows[-1], flush=True)
    text = f"""# Reading files on a Dask cluster

`python tests/benchmarks/cluster_speed.py {readings} {" ".join(map(str, workers))}`: {files} files of
{received / 1e6:.0f} MB, {accepted:,} readings accepted. Workers stand beside the process that files, on one machine.

| where | seconds | of the baseline | kB a file through the scheduler | bytes a reading over the exchange |
|---|---:|---:|---:|---:|
{chr(10).join(rows)}
"""
    RESULT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(given[0] if given else 300_000, given[1:] or [1, 2])
