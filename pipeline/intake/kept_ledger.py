"""The archive's own list of what it holds, store/archive/ledger.jsonl: what a rebuild needs where the store is gone.

A kept copy is named by its digest alone; whose file it is, under which name, when and in which order it was read
stands in the store's ledger. So the ledger is written here too, a JSON object a line, each after the first 16 digits of
its own sha256: whole at the beginning and the end of every run and after every removal and release, and a line for each
file of a pass before the pass is committed. Copies are on disk before the list names them, and the list names them
before the store.

A list that says more than the store, of files that were committed, tells a store that lost something: a database put
back from a backup, or a log that was cut off. There are no rows of people in it, and no withdrawn person can come back
by it: who withdrew stands in store/withdrawn, and their lines in no kept copy.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl
from polars import selectors as cs

from pipeline.durable import make_folder, write_whole
from pipeline.faults import StoreFault
from pipeline.intake import archive as kept_copies
from pipeline.intake import ledger
from pipeline.store import Store

NAME = "ledger.jsonl"
FORM = 1
LOST_FILES, OLDER = "store lost files", "store older than its archive"
_DIGITS = 16
# table → its rows that no file can give again; broken lines only of files whose copy has lost them for good
_TABLES = {
    "run": "from ledger.run order by run_id",
    "run_step": "from ledger.run_step order by run_id, step",
    "file": "from ledger.file order by file_id",
    "fetched": "from ledger.fetched order by url, path",
    "held_row": "from ledger.held_row semi join broken_for_good using (file_id, line) order by file_id, line",
    "unaccepted_row": "from ledger.unaccepted_row semi join broken_for_good using (file_id, line) "
    "order by file_id, line",
    "removal": "from ledger.removal order by removal_id",
    "removal_file": "from ledger.removal_file order by removal_id, file_id",
    "release": "from ledger.release order by period, version",
    "over_periods_state": "from ledger.over_periods_state",
}
_ARRIVING = "arriving"  # a file on its way into the store: it may have got there, or not

Row = dict[str, Any]


@dataclass(frozen=True)
class KeptLedger:
    """What the list says."""

    tables: dict[str, list[Row]]
    arriving: list[Row]
    schema: int  # of the store that it was written from

    @property
    def accepted(self) -> set[tuple[str, str]]:
        """(site, sha256) of every file that was committed."""
        return {(row["site"], row["sha256"]) for row in self.tables["file"] if row["state"] == ledger.ACCEPTED}

    @property
    def last_run(self) -> int:
        return max((row["run_id"] for row in self.tables["run"]), default=0)


def write(store: Store, archive: Path) -> None:
    """Write the whole list as the store has it; on disk before this returns.

    A file that was announced and is not in the store stays announced as long as its copy is in the archive: a run that
    was killed reads it again from the inbox, and until then only the list knows whose it is.
    """
    store.execute_file("44_broken_for_good.sql")
    rows = [(table, row) for table, query in _TABLES.items() for row in _rows_of(store, query)]
    accepted = {
        (row["site"], row["sha256"])
        for table, row in rows
        if table == "file" and row["state"] == ledger.ACCEPTED
    }
    for row in _announced(archive):
        if (row["site"], row["sha256"]) not in accepted:
            rows.append((_ARRIVING, row))
    schema = store.value("select max(step) from ledger.schema_step")
    form = {"table": "form", "form": FORM, "schema": schema, "lines": 1 + len(rows)}
    make_folder(archive)
    lines = [_line(form), *(_line({"table": table, **row}) for table, row in rows)]
    write_whole(archive / NAME, b"".join(lines), mode=0o600)


def announce(store: Store, archive: Path, file_ids: list[int]) -> None:
    """Add files that are about to be committed, in the caller's transaction; on disk before this returns."""
    rows = _rows_of(
        store,
        "from ledger.file where file_id in (select unnest($file_ids::integer[])) order by file_id",
        {"file_ids": file_ids},
    )
    descriptor = os.open(archive / NAME, os.O_RDWR | os.O_CREAT, 0o600)
    with os.fdopen(descriptor, "r+b") as file:
        end = file.seek(0, os.SEEK_END)
        if end:
            file.seek(end - 1)
            if file.read(1) != b"\n":  # a full disk cut an earlier line off
                file.seek(0)
                end = file.read().rfind(b"\n") + 1
                file.truncate(end)
        file.seek(end)
        file.write(b"".join(_line({"table": _ARRIVING, **row}) for row in rows))
        file.flush()
        os.fsync(file.fileno())


def read(archive: Path) -> KeptLedger | None:
    """What the list says; None where there is none, as before the first run.

    A last line that was cut off was never relied on, and is passed over.
    Errors   StoreFault when another line is not as it was written.
    """
    path = archive / NAME
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unreadable(path, error.strerror or "no access") from error
    tables: dict[str, list[Row]] = defaultdict(list)
    rows = _lines(path, content)
    for row in rows:
        tables[row.pop("table")].append(row)
    form = {"form": FORM, "schema": 0, "lines": 0, **(tables.pop("form", None) or [{}])[0]}
    if form["form"] != FORM:
        raise _unreadable(path, f"form {form['form']}")
    if len(rows) < form["lines"]:
        raise _unreadable(path, f"{len(rows)} lines of {form['lines']}")
    return KeptLedger(tables, tables.pop(_ARRIVING, []), form["schema"])


def require_store_has_all(store: Store, archive: Path) -> None:
    """Refuse a store that has lost what the list says was committed.

    Errors   StoreFault, naming a file. Nothing is changed.
    """
    kept = read(archive)
    if kept is None:
        return
    missing = kept.accepted - set(
        store.rows("select site, sha256 from ledger.file where state = $state", {"state": ledger.ACCEPTED})
    )
    last = store.value("select coalesce(max(run_id), 0) from ledger.run")
    if not missing and last >= kept.last_run:
        return
    raise StoreFault(
        LOST_FILES if missing else OLDER,
        where=str(store.path),
        found=f"{len(missing)} of {len(kept.accepted)} accepted files are not in it any more"
        if missing
        else f"last run {last}; the archive knows run {kept.last_run}",
        expected=f"all that {archive / NAME} lists",
        next="evenbeam rebuild PROGRAMME.toml, which reads the kept files again. To begin a new store instead, move "
        "store/evenbeam.duckdb and store/archive aside together (keep store/pseudonym.key and store/withdrawn) and run "
        "with all files in the inbox. Nothing was changed",
    )


def restore(store: Store, kept: KeptLedger) -> None:
    """Put what the list says into the ledger of a new store, in the caller's transaction; files count as not built.

    Files that were held or refused keep their number; their rows come with the next run, from the inbox. A file that
    was on its way in is taken as accepted: its copy is in the archive.
    Errors   StoreFault when a newer version of evenbeam wrote the list.
    """
    schema = store.value("select max(step) from ledger.schema_step")
    if kept.schema > schema:
        raise StoreFault(
            "list of a newer version",
            where=NAME,
            found=f"schema {kept.schema}",
            expected=f"schema {schema} or older",
            next="install the version of evenbeam that wrote it, or a later one",
        )
    files = {(row["site"], row["sha256"]): row for row in kept.tables["file"]}
    for row in kept.arriving:
        files[row["site"], row["sha256"]] = row
    taken: set[int] = set()
    for row in files.values():
        if row["state"] != ledger.ACCEPTED:
            row |= dict.fromkeys([name for name in row if name.startswith("rows_")], 0)
        row["is_built"] = False
        if row["file_id"] in taken:  # of a run that was killed, and whose number another file got
            row["file_id"] = max(taken | {other["file_id"] for other in files.values()}) + 1
        taken.add(row["file_id"])
    for row in kept.tables["removal"]:
        row["is_erased"] = True  # a new file has no free pages with rows that left
    for table, rows in {**kept.tables, "file": list(files.values())}.items():
        if table in _TABLES and rows:
            listed = pl.DataFrame(rows, infer_schema_length=None)
            with store.lent("listed", listed.select(~cs.by_dtype(pl.Null))):  # DuckDB takes no column without a type
                store.execute(f"insert into ledger.{table} by name select * from listed")


def _announced(archive: Path) -> list[Row]:
    """Files that were announced and whose copy is there; none from a list that cannot be read."""
    try:
        kept = read(archive)
    except StoreFault:  # the store can be read, or nobody would write the list anew
        return []
    rows = kept.arriving if kept else []
    return [
        row for row in rows if row["kept_sha256"] and kept_copies.path_of(archive, row["kept_sha256"]).exists()
    ]


def _rows_of(store: Store, query: str, parameters: Row | None = None) -> list[Row]:
    found = store.connection.execute(query, parameters or {})
    names = [column[0] for column in found.description]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def _line(row: Row) -> bytes:
    text = json.dumps(row, ensure_ascii=False, default=str).encode()
    return b"%s %s\n" % (hashlib.sha256(text).hexdigest()[:_DIGITS].encode(), text)


def _lines(path: Path, content: bytes) -> list[Row]:
    """Each line as it was written; a last one without its end is no line yet."""
    rows = []
    for number, line in enumerate(content.split(b"\n")[:-1], start=1):
        digest, _, text = line.partition(b" ")
        if hashlib.sha256(text).hexdigest()[:_DIGITS].encode() != digest:
            raise _unreadable(path, f"line {number} is not as it was written")
        rows.append(json.loads(text))
    return rows


def _unreadable(path: Path, found: str) -> StoreFault:
    return StoreFault(
        "list of the archive unreadable",
        where=str(path),
        found=found,
        expected="a list that this version of evenbeam wrote",
        next="restore the file from a backup. While the store itself can be read, the list can be moved aside: the "
        "next run writes it anew. Nothing was changed",
    )

