"""Files read, normalised and checked on a Dask cluster, and filed here, one after the other, in the order of the inbox.

A task is one file. It opens an in-process DuckDB of its own, runs the same sql/ files as a run on one machine, and
writes what filing needs as Parquet to the exchange, a place that the workers and this machine share. Names, counts and
faults travel through the scheduler, rows over the exchange, and the pseudonym key nowhere: a worker reads it where the
programme keeps it. A task that is lost with its worker is done again by another; its rows stand under names that no
earlier try has used.
"""

from __future__ import annotations

import time
import uuid
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

import fsspec
import polars as pl
from distributed import Client, Future, KilledWorker

from pipeline import __version__
from pipeline.faults import Fault, FileHeld, printable
from pipeline.intake import one_file, pseudonyms, tombstones
from pipeline.intake.inbox import Arrival
from pipeline.intake.ledger import ACCEPTED, Entry
from pipeline.intake.one_file import Prepared, Setting
from pipeline.programme import Engine, Programme
from pipeline.store import Store, received_beside, sql_text

Result = TypeVar("Result")

# what filing reads of a file → the query that a worker writes it with
PARCEL = {
    "received": sql_text("11_received_to_be_filed.sql"),
    "broken_line": "from broken_line",
    "leaving_line": "from leaving_line",
    "checked": "from checked",
}
_FILES_AHEAD = 4  # a worker's thread: enough that none waits for filing, few enough that the exchange stays small
_LOOK_AGAIN_SECONDS = 5.0


@dataclass(frozen=True)
class Errand:
    """What a worker is told of one file. It names things; it holds no row and no key."""

    programme: Path
    programme_sha256: str
    version: str
    exchange: str
    arrival: Arrival
    as_of: date
    received_at: datetime
    run_id: int
    first_period: str | None
    accepted: frozenset[str]  # sha256 of files of the site and size that were accepted before


@dataclass(frozen=True)
class Parcel:
    """What comes back of one file: `Prepared` without its profile, and where its rows stand."""

    sha256: str | None  # None: its bytes could not even be read
    bytes: int
    encoding: str | None
    kept_sha256: str
    fault: FileHeld | None
    is_known: bool
    rows: str | None  # the folder of the exchange with a Parquet file for each table of PARCEL


def in_turn(
    store: Store,
    setting: Setting,
    items: Sequence[Arrival],
    finish: Callable[[Store, Prepared], Result],
) -> Iterator[Result]:
    """The result of each file, in order: prepared on the cluster, finished here.

    A file of a source is fetched, and so prepared, on this machine: it alone knows the source's secrets.
    Errors   Fault when the scheduler or its workers are out of reach, and when a file takes worker after worker down
             with it. Files before it are finished, none after it is.
    """
    engine = setting.programme.settings.engine
    exchange = _emptied(engine, setting.programme)
    try:
        with closing(_client(engine)) as client:
            threads = sum(client.nthreads().values())
            waiting: deque[tuple[Arrival, Future | None]] = deque()
            rest = iter(items)
            while True:
                while len(waiting) < _FILES_AHEAD * threads and (arrival := next(rest, None)) is not None:
                    future = None
                    if arrival.remote is None:
                        errand = _errand(store, setting, arrival, exchange)
                        future = client.submit(prepare_far, errand, pure=False)
                    waiting.append((arrival, future))
                if not waiting:
                    return
                arrival, future = waiting.popleft()
                if future is None:
                    yield finish(store, one_file.prepare(store, setting, arrival))
                    continue
                parcel = _awaited(client, engine, future, arrival)
                prepared = _unpacked(store, setting, arrival, parcel)
                yield finish(store, prepared)
                _delete(parcel.rows)
    finally:
        _delete(exchange)


def prepare_far(errand: Errand) -> Parcel:
    """On a worker: hash, look, read, archive, normalise, check one file, and write its rows to the exchange.

    Errors   Fault when the worker cannot see the programme, or is of another version, or the settings changed since
             the run began. A fault of the file comes back in the parcel.
    """
    if errand.version != __version__:
        raise Fault(
            "another version on a worker", where="[engine] scheduler", found=__version__,
            expected=errand.version, next="install the same version of evenbeam on every worker",
        )  # fmt: skip
    programme = _programme(errand.programme, errand.programme_sha256)
    pads = pseudonyms.pads_of(pseudonyms.read_key(programme.store / "pseudonym.key", accepted_files=1))
    setting = Setting(
        programme, errand.as_of, errand.received_at, errand.run_id, pads,
        tombstones.read(programme.store), errand.first_period,
    )  # fmt: skip
    limits = programme.settings.limits
    with _empty_store(limits.memory, programme.store / "evenbeam.duckdb").beside() as store:
        prepared = one_file.prepare(store, setting, errand.arrival, accepted=errand.accepted)
        entry = prepared.entry
        has_rows = entry is not None and prepared.fault is None and not prepared.is_known
        return Parcel(
            entry.sha256 if entry else None,
            entry.bytes if entry else 0,
            prepared.encoding,
            prepared.kept_sha256,
            prepared.fault,
            prepared.is_known,
            _packed(store, errand.exchange) if has_rows else None,
        )


@lru_cache(maxsize=4)
def _programme(path: Path, sha256: str) -> Programme:
    """The programme as the run knows it; a worker lives through many runs."""
    if not path.exists():
        raise Fault(
            "programme not on a worker", where=str(path), found="no such file there",
            expected="the programme's folder under the same path on every worker",
            next="mount the shared folder on the workers",
        )  # fmt: skip
    programme = Programme.read(path)
    if programme.sha256 != sha256:
        raise Fault(
            "settings changed", where=str(path), found="other settings or profiles than the run began with",
            expected="the same on every worker until the run ends", next="run again",
        )  # fmt: skip
    return programme


@lru_cache(maxsize=1)
def _empty_store(memory: str, instead_of: Path) -> Store:
    """The worker's own DuckDB, in memory, which reads the files that the programme's store would; each task works in
    a connection of its own."""
    return Store.open(None, memory_limit=memory, threads=1, may_read=received_beside(instead_of))


def _errand(store: Store, setting: Setting, arrival: Arrival, exchange: str) -> Errand:
    programme = setting.programme
    size = None
    with suppress(OSError):  # gone, or closed to us: the worker says so
        size = arrival.path.stat().st_size
    accepted = store.rows(
        "select sha256 from ledger.file where site = $site and bytes = $size and state = $state",
        {"site": arrival.site, "size": size, "state": ACCEPTED},
    )
    return Errand(
        programme.path, programme.sha256, __version__, exchange, arrival, setting.as_of, setting.received_at,
        setting.run_id, setting.first_period, frozenset(sha256 for (sha256,) in accepted),
    )  # fmt: skip


def _unpacked(store: Store, setting: Setting, arrival: Arrival, parcel: Parcel) -> Prepared:
    """The parcel as if the file had been prepared here: its rows stand in the temporary tables of `store`."""
    profile = setting.programme.profiles[arrival.site]
    if parcel.sha256 is None:
        return Prepared(arrival, profile, fault=parcel.fault)
    entry = Entry(arrival, parcel.sha256, parcel.bytes, setting.received_at, setting.run_id)
    for table in PARCEL if parcel.rows else ():
        with (
            fsspec.open(f"{parcel.rows}/{table}.parquet", "rb") as file,
            store.lent("parcel", pl.read_parquet(file)),
        ):
            store.execute(f"create or replace temporary table {table} as from parcel")
    return Prepared(
        arrival, profile, entry, encoding=parcel.encoding, kept_sha256=parcel.kept_sha256,
        fault=parcel.fault, is_known=parcel.is_known,
    )  # fmt: skip


def _packed(store: Store, exchange: str) -> str:
    folder = f"{exchange}/{uuid.uuid4().hex}"
    files, root = fsspec.url_to_fs(folder)
    files.makedirs(root, exist_ok=True)
    for table, query in PARCEL.items():
        with fsspec.open(f"{folder}/{table}.parquet", "wb") as file:
            store.frame(query).write_parquet(file, compression="zstd")
    return folder


def _emptied(engine: Engine, programme: Programme) -> str:
    """The run's own folder of the exchange, without what a killed run left there: no other run is under way."""
    exchange = f"{engine.exchange or programme.store / 'exchange'}".rstrip("/") + "/prepared"
    _delete(exchange)
    return exchange


def _delete(folder: str | None) -> None:
    if folder is not None:
        files, root = fsspec.url_to_fs(folder)
        with suppress(FileNotFoundError):
            files.rm(root, recursive=True)


# ---- the cluster --------------------------------------------------------------------------------------------


def _client(engine: Engine) -> Client:
    """A connection to the scheduler, with at least one worker behind it.

    Errors   Fault when either is not there within the settings' patience.
    """
    client = None
    try:
        client = Client(engine.scheduler, timeout=engine.patience_seconds, set_as_default=False)
        client.wait_for_workers(1, timeout=engine.patience_seconds)
    except (OSError, TimeoutError) as error:
        if client is not None:
            client.close()
        raise _out_of_reach(engine, "no worker there" if client else printable(error)) from error
    return client


def _awaited(client: Client, engine: Engine, future: Future, arrival: Arrival) -> Parcel:
    """A task's parcel, however long it takes, as long as somebody works on it."""
    last_seen = time.monotonic()
    while True:
        try:
            return future.result(timeout=_LOOK_AGAIN_SECONDS)
        except KilledWorker as error:
            raise Fault(
                "workers lost", where=arrival.where, found=printable(error, 300),
                expected="a worker that outlives the file",
                next="give the workers more memory, or take the file out of the inbox and run again; what was filed "
                "before it is kept",
            ) from error  # fmt: skip
        except TimeoutError:
            if _workers(client):
                last_seen = time.monotonic()
            elif time.monotonic() - last_seen > engine.patience_seconds:
                raise _out_of_reach(engine, "every worker gone") from None


def _workers(client: Client) -> dict[str, Any]:
    try:
        return client.scheduler_info(n_workers=-1)["workers"]
    except (OSError, TimeoutError):
        return {}


def _out_of_reach(engine: Engine, found: str) -> Fault:
    return Fault(
        "cluster out of reach", where=f"[engine] scheduler, {engine.scheduler}", found=found,
        expected=f"a Dask scheduler with a worker within {engine.patience_seconds} seconds",
        next='start them and run again, or set kind = "local"; what was filed is kept',
    )  # fmt: skip
