"""What counting costs on the coordinator, beside what it would cost it to have workers count.

Which reading of a person counts is known only where all of a person's readings meet, in the store. Workers could count
those that do, a period each: the coordinator would write them for the workers, and read what they made of them. Both
are measured on the same store, one thread, whole periods. The workers' own part is left out.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import even_sites
from where_time_goes import Spent

from pipeline.intake import receive
from pipeline.programme import Programme
from pipeline.readings import build_readings
from pipeline.results.building import build_of_periods
from pipeline.store import Store
from pipeline.tallies import build_tallies
from pipeline.visits import build_visits

# what is made of the readings that count → where its seconds stand among those of the run
MADE = {
    "tally.value": "30_tally_value.sql",
    "tally.moment": "31_tally_moment.sql",
    "tally.band": "32_tally_band.sql",
    "result.percentile": "build_percentiles()",
}
_NOT_COUNTED = ("participant", "reading_id", "measured_on", "age_months", "device", "is_athlete_mode")


@dataclass(frozen=True)
class TakenBack:
    """A table that workers would have made: read from Parquet and committed."""

    rows: int
    megabytes: float
    seconds: float


def count_or_send(sizes: list[int], sites: int) -> str:
    """A section of Markdown: of so many readings each, of so many sites."""
    return f"""## Count here, or send what is counted

A person counts once a period, whichever sites measured them, so that which readings count is known only in the store.
Workers could count those: the coordinator would write them as Parquet, a period a task, and insert what comes back.
Processor seconds of the coordinator, one thread, first run; what the workers would take comes on top.

{chr(10).join(_of_size(size, sites) for size in sizes)}"""


def _of_size(readings: int, sites: int) -> str:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "programme"
        even_sites.write_programme(folder, readings, sites)
        programme = Programme.read(folder)
        spool = programme.store / "spool"
        with Store.open(programme.store / "evenbeam.duckdb", memory_limit="3GB", threads=1) as store:
            receive(
                store, programme, as_of=date(2026, 1, 15), received_at=datetime(2026, 1, 15, 3), run_id=1,
                progress=lambda done, total, what: None,
            )  # fmt: skip
            shutil.rmtree(folder / "inbox")
            spent = Spent.watch()
            whole = _seconds(lambda: _everything_of_periods(store, programme))
            here = {name: seconds for name, _, seconds in spent.largest(10_000)}
            spool.mkdir()
            people = store.value("select count(*) from reading.participant_period")
            writing = _seconds(lambda: _send(store, spool))
            sent = sum(path.stat().st_size for path in spool.glob("*.parquet")) / 1e6
            back = {table: _taken_back(store, spool, table) for table in MADE}
    lines = [
        f"| {table} | {here[name]:.1f} | {one.rows:,} | {one.megabytes:.0f} | {one.seconds:.1f} |"
        for (table, name), one in zip(MADE.items(), back.values(), strict=True)
    ]
    counted, read = sum(here[name] for name in MADE.values()), sum(one.seconds for one in back.values())
    spared = counted - writing - read
    return f"""**{readings:,} readings**, {people:,} people in periods: {writing:.1f} s to write them, {sent:.0f} MB.

| made | counted here, s | rows | MB of Parquet | s to take back |
|---|---:|---:|---:|---:|
{chr(10).join(lines)}
| together | {counted:.1f} | | | {read:.1f} |

Sending would spare the coordinator {counted:.1f} − {writing:.1f} − {read:.1f} = {spared:.1f} s of the {whole:.1f} s
that it takes to choose, count and make the results of periods ({100 * spared / whole:.0f} %), before pages are made.
"""


def _everything_of_periods(store: Store, programme: Programme) -> None:
    with store.transaction():
        build_readings(store, programme)
        build_tallies(store, programme)
        build_visits(store, programme)
        build_of_periods(store, programme, lambda done, total, what: None)


def _send(store: Store, spool: Path) -> None:
    columns = ", ".join(_NOT_COUNTED)
    for (period,) in store.rows("select distinct period from reading.participant_period order by period"):
        store.execute(
            f"copy (select * exclude ({columns}) from reading.participant_period where period = $period) "
            "to $path (format parquet, compression zstd)",
            {"period": period, "path": str(spool / f"{period}.parquet")},
        )


def _taken_back(store: Store, spool: Path, table: str) -> TakenBack:
    path = spool / f"{table}.parquet"
    store.execute(f"copy {table} to $path (format parquet, compression zstd)", {"path": str(path)})
    rows = store.value(f"select count(*) from {table}")
    store.execute(f"create table taken_back as from {table} limit 0")

    def take() -> None:
        with store.transaction():
            store.execute("insert into taken_back from read_parquet($path)", {"path": str(path)})

    seconds = _seconds(take)
    store.execute("drop table taken_back")
    return TakenBack(rows, path.stat().st_size / 1e6, seconds)


def _seconds(work: Callable[[], None]) -> float:
    before = time.process_time()
    work()
    return time.process_time() - before
