"""What filing reads of a pass, as Parquet on the exchange: a worker packs it, the coordinator files from it.

DuckDB writes and reads the files where it may, in the spool; fsspec carries them to the exchange and from it, whatever
that is. Filing meets them as views under the names that the tables of a pass have, and reads the columns that it needs.
"""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import fsspec

from pipeline.faults import Fault
from pipeline.store import Store, literal, sql_text

# table of a pass → the query that a worker writes it with
TABLES = {
    "rows_of_file": "from rows_of_file",
    "received": sql_text("11_received_to_be_filed.sql"),
    "broken_line": "from broken_line",
    "leaving_line": "from leaving_line",
    "span_of_site": "from span_of_site",
    "checked": "from checked",
}


def pack(store: Store, spool: Path, exchange: str) -> str:
    """The pass in `store` → a new folder of the exchange, under a name that no earlier try has used."""
    folder = f"{exchange}/{uuid.uuid4().hex}"
    files, root = fsspec.url_to_fs(folder)
    files.makedirs(root, exist_ok=True)
    with _scratch(spool) as scratch:
        for table, query in TABLES.items():
            written = scratch / f"{table}.parquet"
            store.execute(f"copy ({query}) to $path (format parquet, compression zstd)", {"path": str(written)})
            files.put_file(str(written), f"{root}/{table}.parquet")
    return folder


class Unpacked:
    """The parcel that stands as views in a store, one at a time.

    Errors   Fault where DuckDB cannot be told the name of the spool.
    """

    def __init__(self, store: Store, spool: Path):
        self._store, self._spool, self._scratch = store, spool, ExitStack()
        if literal(spool) is None:
            raise Fault(
                "store cannot be there", where=str(spool), found="a path that DuckDB's readers cannot be told",
                expected="UTF-8, and no \\ beside a sign like * or [", next="rename the folder",
            )  # fmt: skip

    def show(self, folder: str) -> None:
        """The tables of a folder of the exchange, in place of what stood there."""
        self.close()
        files, root = fsspec.url_to_fs(folder)
        scratch = self._scratch.enter_context(_scratch(self._spool))
        self._store.execute("set variable parcel = $folder", {"folder": literal(scratch)})
        for table in TABLES:
            files.get_file(f"{root}/{table}.parquet", str(scratch / f"{table}.parquet"))
            self._store.execute(f"drop table if exists {table}")  # of a pass that was prepared here
            self._store.execute(
                f"create temp view {table} as from read_parquet(getvariable('parcel') || '/{table}.parquet')"
            )
            self._scratch.callback(self._store.execute, f"drop view {table}")

    def close(self) -> None:
        """Take the views away; another parcel may be shown afterwards."""
        self._scratch.close()


def delete(folder: str) -> None:
    files, root = fsspec.url_to_fs(folder)
    with suppress(FileNotFoundError):
        files.rm(root, recursive=True)


@contextmanager
def _scratch(spool: Path) -> Iterator[Path]:
    folder = spool / uuid.uuid4().hex
    folder.mkdir(parents=True, mode=0o700)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
