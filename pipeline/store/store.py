"""The DuckDB file: open, lock and upgrade it; run a file of sql/ in a transaction.

Polars and DuckDB exchange tables through the Arrow C stream interface, so pyarrow is not needed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from importlib import resources
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline.durable import flush
from pipeline.faults import StoreFault
from pipeline.store.fault_of import storage_fault, why_it_did_not_open
from pipeline.store.path_in_sql import as_named

SETTINGS = {
    "autoinstall_known_extensions": False,  # nothing is ever fetched at run time
    "autoload_known_extensions": False,
    "checkpoint_threshold": "256MB",  # many files come in a run, each its own transaction: fold them in seldom
}

# Folders beside a store whose files its SQL reads: what sites sent, and copies of that. No other is open to it.
RECEIVED = ("../inbox", "archive", "spool")

_PARSED: dict[str, list[duckdb.Statement]] = {}  # each execution takes a copy

MACROS = (
    "00_macros_received_text.sql", "01_macros_bands.sql", "02_macros_checks.sql", "03_macros_outcomes.sql",
    "03_macros_parts.sql", "03_macros_tallies.sql",
)  # fmt: skip


class ArrowStream:
    """A Polars frame shown to DuckDB as an Arrow stream only (DuckDB would ask pyarrow for the frame itself)."""

    def __init__(self, frame: pl.DataFrame):
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)

    def let_go(self) -> None:
        """Hold no row any more: DuckDB keeps what was registered until the transaction ends, also once it is not."""
        self._frame = self._frame.clear()


def sql_text(name: str) -> str:
    """The text of one file of sql/, e.g. "30_tally_value.sql" or "checks/bands_cover_everybody.sql"."""
    return (resources.files("sql") / name).read_text(encoding="utf-8")


class Store:
    """One open store. Use as a context manager; only one process writes at a time."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path | None):
        self.connection = connection
        self.path = path

    @classmethod
    def open(
        cls,
        path: Path | None,
        *,
        read_only: bool = False,
        memory_limit: str = "2GB",
        threads: int | None = None,
        may_read: Iterable[Path] = (),
    ) -> Store:
        """Open or create the store at `path` (None: in memory), upgraded to this version's schema.

        Its SQL reads the folders of received files beside the store, what `may_read` names, and no other file.

        Errors   StoreFault when another process holds it, when it is no DuckDB file, when a newer version of
                 evenbeam made it, or when DuckDB cannot work under its path.
        """
        settings: dict[str, Any] = dict(SETTINGS, memory_limit=memory_limit)
        if threads:
            settings["threads"] = threads
        if path is not None:
            _make_ready(path, read_only)
            settings["temp_directory"] = str(path.with_suffix(".spill"))
        try:
            connection = duckdb.connect(str(path or ":memory:"), read_only=read_only, config=settings)
        except duckdb.Error as error:
            raise why_it_did_not_open(path, error) from error
        store = cls(connection, path)
        try:
            store._close_to_outside([*received_beside(path), *may_read])
            store._upgrade(read_only)
        except BaseException as error:
            with suppress(duckdb.Error):
                connection.close()
            fault = storage_fault(error, path) if isinstance(error, duckdb.Error) else None
            if fault is None:
                raise
            raise fault from error
        return store

    def __enter__(self) -> Store:
        return self

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        """Close; a damaged store, a full disk and the like are told as what they are, wherever they were met."""
        with suppress(duckdb.Error):  # of a damaged store, which cannot be folded in; what was committed is in its log
            self.close()
        fault = storage_fault(error, self.path) if isinstance(error, duckdb.Error) else None
        if fault is not None:
            raise fault from error

    def close(self) -> None:
        self.connection.close()

    def _close_to_outside(self, places: Iterable[Path]) -> None:
        """From here on no statement reaches a file outside `places` (links are followed before that is decided),
        attaches another database, loads an extension, or changes a setting; not even one that opens this again."""
        if self.value("select current_setting('lock_configuration')"):
            return  # this process has the store open already
        allowed = sorted({text for place in places for text in as_named(place.resolve())})
        self.execute("set allowed_paths = $allowed", {"allowed": allowed})
        self.execute("set allowed_directories = $allowed", {"allowed": allowed})
        self.execute("set enable_external_access = false")
        self.execute("set lock_configuration = true")

    def beside(self) -> Store:
        """A second connection to the same store, for work at the same time; transactions are each their own."""
        sibling = Store(self.connection.cursor(), self.path)
        sibling._define_macros()
        return sibling

    # ---- running SQL ------------------------------------------------------------------------------

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing. Nothing below the caller commits; transactions do not nest."""
        self.connection.begin()
        try:
            yield
        except BaseException:
            self.connection.rollback()
            raise
        self.connection.commit()

    def execute(self, statement: str, parameters: dict[str, Any] | None = None) -> None:
        self.connection.execute(statement, parameters or {}).complete()

    def execute_file(self, name: str, /, **parameters: Any) -> None:
        """Run every statement of a file of sql/; each takes the parameters that it names."""
        for statement in self._statements_of(name):
            wanted = {key: parameters[key] for key in statement.named_parameters}
            self.connection.execute(statement, wanted).complete()

    def _statements_of(self, name: str) -> list[duckdb.Statement]:
        """A file of sql/, parsed once: a run executes some of them for every file that it reads."""
        if name not in _PARSED:
            _PARSED[name] = self.connection.extract_statements(sql_text(name))
        return _PARSED[name]

    def rows(self, query: str, parameters: dict[str, Any] | None = None) -> list[tuple]:
        return self.connection.execute(query, parameters or {}).fetchall()

    def value(self, query: str, parameters: dict[str, Any] | None = None) -> Any:
        """The first column of the first row, or None when there is no row."""
        rows = self.rows(query, parameters)
        return rows[0][0] if rows else None

    def frame(self, query: str, parameters: dict[str, Any] | None = None) -> pl.DataFrame:
        """A query's rows as a Polars frame. The query says its order: nothing downstream may rely on chance."""
        return pl.DataFrame(self.connection.sql(query, params=parameters or {}))

    @contextmanager
    def lent(self, name: str, frame: pl.DataFrame) -> Iterator[None]:
        """A Polars frame readable in SQL under `name` for the length of a with block."""
        stream = ArrowStream(frame)
        self.connection.register(name, stream)
        try:
            yield
        finally:
            self.connection.unregister(name)
            stream.let_go()

    def replace_rows(self, table: str, frame: pl.DataFrame) -> None:
        """Make `frame` the whole content of `table`; columns are matched by name, in the caller's transaction.

        `table` is a name from this program's own text, never from input.
        """
        self.execute(f"delete from {table}")
        self.append_rows(table, frame)

    def append_rows(self, table: str, frame: pl.DataFrame) -> None:
        """Add the rows of `frame` to `table`. Columns and name as for replace_rows."""
        with self.lent("addition", frame):
            self.execute(f"insert into {table} by name select * from addition")

    def require_no_rows(self, name: str, /, **parameters: Any) -> list[tuple]:
        """Run a promise of sql/checks/, with the parameters that it names: its rows are whoever breaks it.

        A file that opens with `-- stop:` raises StoreFault showing the rows; one that opens with
        `-- warn:` returns them.
        """
        text = sql_text(name)
        severity, _, promise = text.partition("\n")[0].removeprefix("--").strip().partition(":")
        [statement] = self._statements_of(name)
        rows = self.rows(text, {key: parameters[key] for key in statement.named_parameters})
        if rows and severity == "stop":
            shown = "; ".join(str(row) for row in rows[:5]) + (" …" if len(rows) > 5 else "")
            raise StoreFault(
                "broken promise",
                where=f"sql/{name}",
                found=f"{len(rows)} rows: {shown}",
                expected=promise.strip(),
                next="nothing was changed; report this with the rows above",
            )
        return rows

    # ---- schema -----------------------------------------------------------------------------------

    def _upgrade(self, read_only: bool) -> None:
        """Bring the schema to this version: sql/schema/NNN_*.sql, each once, in order."""
        steps = sorted(
            entry.name
            for entry in (resources.files("sql") / "schema").iterdir()
            if re.match(r"\d{3}_", entry.name)
        )
        newest = int(steps[-1][:3])
        has_ledger = self.value(
            "select count(*) from duckdb_tables() where schema_name = 'ledger' and table_name = 'schema_step'"
        )
        applied = {step for (step,) in self.rows("select step from ledger.schema_step")} if has_ledger else set()
        done = max(applied, default=0)
        missing = [name for name in steps if int(name[:3]) not in applied]
        if done > newest:
            raise StoreFault(
                "newer store",
                where=str(self.path),
                found=f"schema {done}",
                expected=f"schema {newest} or older",
                next="install the version of evenbeam that wrote it, or a later one",
            )
        if missing and read_only:
            raise StoreFault(
                "older store",
                where=str(self.path),
                found=f"schema {done}",
                expected=f"schema {newest}",
                next="run `evenbeam run` once: it upgrades the store",
            )
        for name in missing:
            with self.transaction():
                self.execute_file(f"schema/{name}")
                self.execute(
                    "insert into ledger.schema_step values ($step, $name)", {"step": int(name[:3]), "name": name}
                )
        self._define_macros()

    def _define_macros(self) -> None:
        for name in MACROS:  # temporary macros: they belong to the code, not to the file
            self.execute_file(name)


def received_beside(path: Path | None) -> list[Path]:
    """The folders of received files that belong to the store at `path`."""
    return [path.parent / name for name in RECEIVED] if path else []


def _make_ready(path: Path, read_only: bool) -> None:
    """A file to open at `path`, made where there is none and it may be written."""
    if "?" in str(path):  # DuckDB would put the ending of its log before that sign
        raise StoreFault(
            "store cannot be there",
            where=str(path),
            found="a ? in the path",
            expected="a path without that sign",
            next="rename the folder",
        )
    if not read_only:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            _make_empty(path)


def _make_empty(path: Path) -> None:
    """A database with nothing in it, whole or not there: a kill or a full disk must not leave half a header."""
    part = path.with_name(f".{path.name}.part")
    for left in (part, part.with_name(part.name + ".wal")):
        left.unlink(missing_ok=True)
    try:
        duckdb.connect(str(part)).close()
        flush(part)
        part.replace(path)
    except duckdb.Error as error:
        raise why_it_did_not_open(path, error) from error
    finally:
        part.unlink(missing_ok=True)
    flush(path.parent)
