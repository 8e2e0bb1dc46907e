"""One process at a time changes a programme: a lock on its store's folder, held as long as the command lasts.

DuckDB's own lock ends whenever the file is closed, and a rebuild, a withdrawal and a freeze close it and open it again,
or put another file in its place. This one lies beside it, in store/lock, and the system lets go of it when the process
ends, however that ends. Commands that only read do not take it; they meet DuckDB's lock.
"""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.faults import StoreFault
from pipeline.store import Store

NAME = "lock"
PATIENCE = 5.0  # seconds to wait for somebody who only reads, such as `evenbeam status`


@contextmanager
def sole_use(store_folder: Path) -> Iterator[None]:
    """Nobody else changes the programme while the with block lasts.

    Errors   StoreFault when another process does.
    """
    store_folder.mkdir(parents=True, exist_ok=True)
    descriptor = os.open(store_folder / NAME, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise _in_use(store_folder, os.read(descriptor, 20)) from error
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        yield
    finally:
        os.close(descriptor)


def opened_alone(database: Path, *, memory_limit: str, threads: int | None = None) -> Store:
    """The store, open for writing, once those who only read it have let go of it. For the holder of `sole_use`.

    Errors   as for Store.open.
    """
    ends_at = time.monotonic() + PATIENCE
    while True:
        try:
            return Store.open(database, memory_limit=memory_limit, threads=threads)
        except StoreFault as fault:
            if fault.what != "store in use" or time.monotonic() >= ends_at:
                raise
        time.sleep(0.1)


def _in_use(store_folder: Path, holder: bytes) -> StoreFault:
    pid = holder.decode("ascii", errors="replace").strip()
    return StoreFault(
        "store in use",
        where=str(store_folder),
        found=f"process {pid} has it open" if pid.isdigit() else "it is open",
        expected="one run at a time",
        next="wait for that run to end, then try again",
    )
