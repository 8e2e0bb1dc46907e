"""Files read, normalised and checked on a Dask cluster, and filed here, one pass after the other, in the inbox's order.

A task is one pass (passes.py). It opens an in-process DuckDB of its own, runs the same sql/ files as a run on one
machine, and packs what filing needs for the exchange (parcel.py), a place that the workers and this machine share.
Names, counts and faults travel through the scheduler, rows over the exchange, and the pseudonym key nowhere: a worker
reads it where the programme keeps it. A task that is lost with its worker is done again by another; its rows stand
under names that no earlier try has used.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache, partial
from itertools import groupby
from pathlib import Path
from typing import Any

import polars as pl
from distributed import Client, Future, KilledWorker

from pipeline import __version__
from pipeline.faults import Fault, printable
from pipeline.intake import ledger, one_file, one_pass, parcel, pseudonyms, tombstones
from pipeline.intake.arrival import Arrival
from pipeline.intake.ledger import ACCEPTED
from pipeline.intake.one_file import FileRead
from pipeline.intake.one_pass import Prepared
from pipeline.intake.parcel import Unpacked
from pipeline.intake.setting import Setting
from pipeline.intake.summary import IntakeSummary
from pipeline.programme import Engine, Programme
from pipeline.store import Store, received_beside

Arrivals = Sequence[Arrival]

_PASSES_AHEAD = 2  # a worker's thread: enough that none waits for filing, few enough that the exchange stays small
_LOOK_AGAIN_SECONDS = 5.0


@dataclass(frozen=True)
class Errand:
    """What a worker is told of one pass. It names things; it holds no row and no key."""

    programme: Path
    programme_sha256: str
    version: str
    exchange: str
    arrivals: tuple[Arrival, ...]
    as_of: date
    received_at: datetime
    run_id: int
    first_period: str | None
    begun_ns: int
    accepted: frozenset[tuple[str, str]]  # (site, sha256) of files of such sites and sizes that were accepted before


@dataclass(frozen=True)
class Parcel:
    """What comes back of one pass: `Prepared` without its items, and where its rows stand."""

    files: tuple[FileRead, ...]
    broken_by: str  # as in Prepared
    rows: str | None  # the folder of the exchange where they are packed (parcel.py)


def in_turn(
    store: Store, setting: Setting, together: Sequence[Arrivals], before_commit: Callable[[Store, list[int]], None]
) -> Iterator[list[IntakeSummary]]:
    """The summaries of each pass, in order: prepared on the cluster, finished here.

    A file of a source is fetched, and so prepared, on this machine: it alone knows the source's secrets.
    Errors   Fault when the scheduler or its workers are out of reach, and when a file takes worker after worker down
             with it. Files before it are finished, none after it is.
    """
    engine = setting.programme.settings.engine
    exchange = _emptied(engine, setting.programme)
    try:
        with closing(_client(engine)) as client, closing(Unpacked(store, setting.spool)) as unpacked:
            far = _Far(store, setting, client, exchange, unpacked)
            threads = sum(client.nthreads().values())
            waiting: deque[tuple[Arrivals, Future | None]] = deque()
            rest = iter(_of_one_place(together))
            while True:
                while len(waiting) < _PASSES_AHEAD * threads and (arrivals := next(rest, None)) is not None:
                    waiting.append((arrivals, far.sent(arrivals)))
                if not waiting:
                    return
                prepared = far.received(*waiting.popleft())
                summaries = one_pass.finish(
                    store, setting, prepared, before_commit=before_commit,
                    prepare_again=lambda arrivals: far.received(arrivals, far.sent(arrivals)),
                )  # fmt: skip
                far.tidy()
                yield summaries
    finally:
        parcel.delete(exchange)


def _of_one_place(together: Sequence[Arrivals]) -> Iterator[Arrivals]:
    """Passes of which all files lie in the inbox, or all in sources."""
    for arrivals in together:
        for _, of_one in groupby(arrivals, lambda arrival: arrival.remote is None):
            yield tuple(of_one)


class _Far:
    """Passes on their way to the cluster and back."""

    def __init__(self, store: Store, setting: Setting, client: Client, exchange: str, unpacked: Unpacked):
        self._store, self._setting, self._client, self._exchange = store, setting, client, exchange
        self._unpacked = unpacked
        self._to_delete: list[str] = []

    def sent(self, arrivals: Arrivals) -> Future | None:
        """A task for a pass of the inbox; None for files of a source."""
        if arrivals[0].remote is not None:
            return None
        errand = _errand(self._store, self._setting, arrivals, self._exchange)
        return self._client.submit(prepare_far, errand, pure=False)

    def received(self, arrivals: Arrivals, future: Future | None) -> Prepared:
        """The pass as if it had been prepared here: its rows stand under the names of the temporary tables."""
        self._unpacked.close()
        if future is None:
            begin = partial(one_file.begin, setting=self._setting, accepted=ledger.accepted(self._store))
            return one_pass.prepare(self._store, self._setting, arrivals, begin)
        found = _awaited(self._client, self._setting.programme.settings.engine, future, arrivals)
        if found.rows:
            self._unpacked.show(found.rows)
            self._to_delete.append(found.rows)
        return Prepared(arrivals, found.files, found.broken_by)

    def tidy(self) -> None:
        """Delete what was filed from the exchange."""
        self._unpacked.close()
        while self._to_delete:
            parcel.delete(self._to_delete.pop())


def prepare_far(errand: Errand) -> Parcel:
    """On a worker: hash, look, read and archive each file, normalise and check them, and write rows to the exchange.

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
        tombstones.read(programme.store), errand.first_period, errand.begun_ns,
    )  # fmt: skip
    limits = programme.settings.limits
    with _empty_store(limits.memory, programme.store / "evenbeam.duckdb").beside() as store:
        prepared = one_pass.prepare(
            store, setting, errand.arrivals, partial(one_file.begin, setting=setting, accepted=errand.accepted)
        )
        has_rows = any(file.has_rows for file in prepared.files)
        rows = parcel.pack(store, setting.spool, errand.exchange) if has_rows else None
        return Parcel(prepared.files, prepared.broken_by, rows)


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


def _errand(store: Store, setting: Setting, arrivals: Arrivals, exchange: str) -> Errand:
    programme = setting.programme
    sizes = set()
    for arrival in arrivals:
        with suppress(OSError):  # gone, or closed to us: the worker says so
            sizes.add((arrival.site, arrival.path.stat().st_size))
    with store.lent("seen", pl.DataFrame(list(sizes), schema={"site": pl.String, "bytes": pl.Int64}, orient="row")):
        accepted = store.rows(
            "select site, sha256 from ledger.file semi join seen using (site, bytes) where state = $state",
            {"state": ACCEPTED},
        )
    return Errand(
        programme.path, programme.sha256, __version__, exchange, tuple(arrivals), setting.as_of, setting.received_at,
        setting.run_id, setting.first_period, setting.begun_ns, frozenset(accepted),
    )  # fmt: skip


def _emptied(engine: Engine, programme: Programme) -> str:
    """The run's own folder of the exchange, without what a killed run left there: no other run is under way."""
    exchange = f"{engine.exchange or programme.store / 'exchange'}".rstrip("/") + "/prepared"
    parcel.delete(exchange)
    return exchange


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


def _awaited(client: Client, engine: Engine, future: Future, arrivals: Arrivals) -> Parcel:
    """A task's parcel, however long it takes, as long as somebody works on it.

    A pass of several files that takes workers down with it comes back as broken: each file is then tried by itself.
    """
    last_seen = time.monotonic()
    while True:
        try:
            return future.result(timeout=_LOOK_AGAIN_SECONDS)
        except KilledWorker as error:
            if len(arrivals) > 1:
                return Parcel((), broken_by="workers lost", rows=None)
            raise Fault(
                "workers lost", where=arrivals[0].where, found=printable(error, 300),
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
