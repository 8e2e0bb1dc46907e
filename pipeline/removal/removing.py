"""Rows and kept copies that must not be kept any longer → out of store and archive, and one record that it happened.

The same step serves a withdrawal, a period past its time and the beginning of every run: it removes whatever a
tombstone or [retention] names and is still there. So a removal that was cut off, or a database put back from a
backup, is made good by the next run.

Order: copies without the lines are written first; then, in one transaction, the rows go and the ledger names the new
copies; then the archive's list does; then copies that nothing names are deleted; last the database file is written anew
(erasing.py).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from pipeline import __version__
from pipeline.faults import StoreFault
from pipeline.intake import archive, kept_copy, kept_ledger, ledger, pseudonyms, tombstones
from pipeline.programme import Programme
from pipeline.store import Store


@dataclass(frozen=True)
class Removed:
    """What left in one go."""

    rows_withdrawn: int = 0
    rows_expired: int = 0
    copies: int = 0  # kept copies deleted, for their age or because they could not be written anew
    files: tuple[str, ...] = ()  # site/name of each file that lost rows
    first_period: str | None = None
    copies_damaged: int = 0  # of the copies: those that could not be written anew

    @property
    def rows(self) -> int:
        return self.rows_withdrawn + self.rows_expired


def remove(store: Store, programme: Programme, *, as_of: date, happened_at: datetime) -> Removed:
    """Remove whatever must not be kept on `as_of`; nothing where nobody withdrew and nothing is past its time.

    A day in the future never counts: a mistyped --as-of must not destroy anything.
    Errors   StoreFault when the key or the list of withdrawals cannot be read.
    """
    kept_out = tombstones.read(programme.store, withdrawals=ledger.withdrawals(store))
    retention, today = programme.settings.retention, min(as_of, happened_at.date())
    files_until = retention.files_until(today)
    if not kept_out and files_until is None:
        return Removed()
    first_period = retention.first_period(today, programme.settings.period)
    held_until = retention.files_until(today) if retention.readings else None
    _find(store, programme, kept_out, first_period, held_until)
    folder = programme.store / "archive"
    copies, unreadable = _copies_without_them(store, programme)
    removed = _removed(store, first_period)
    with store.transaction():
        with store.lent("kept_copy", copies):
            store.execute_file("25_row_removed.sql")
        past = 0
        if files_until is not None:
            past = store.value(
                "select count(*) from ledger.file join ledger.run using (run_id) "
                "where kept_sha256 is not null and ledger.run.as_of <= $until",
                {"until": files_until},
            )
            store.execute_file("26_copy_past_its_time.sql", files_until=files_until)
        removed = Removed(
            removed.rows_withdrawn, removed.rows_expired, past + unreadable, removed.files, first_period, unreadable
        )
        if removed.rows or removed.copies:
            _record(store, as_of, happened_at, removed)
        store.require_no_rows("checks/file_accounting_adds_up.sql")
    kept_ledger.write(store, folder)  # it names the new copies before the old ones are gone
    archive.sweep(folder, ledger.kept_copies(store))
    for table in ("leaving_row", "leaving_person"):
        store.execute(f"drop table {table}")
    return removed


def _find(
    store: Store,
    programme: Programme,
    kept_out: frozenset[str],
    first_period: str | None,
    held_until: date | None,
) -> None:
    """Fill leaving_person and leaving_row."""
    key = pseudonyms.read_key(programme.store / "pseudonym.key", accepted_files=ledger.accepted_files(store))
    inner, outer = pseudonyms.pads_of(key)
    with store.lent("tombstone", tombstones.as_table(kept_out)):
        store.execute_file(
            "24_leaving_row.sql",
            inner_pad=inner,
            outer_pad=outer,
            first_period=first_period,
            held_until=held_until,
        )


def _copies_without_them(store: Store, programme: Programme) -> tuple[pl.DataFrame, int]:
    """(file_id, kept_sha256) of every file whose kept copy must lose lines, and how many copies could not be read.

    Where somebody withdraws, copies lose their broken lines too, whose cells tell nobody for certain. A copy that
    cannot be read is deleted: keeping it would keep the person.
    """
    leaving: dict[int, set[int]] = defaultdict(set)
    for file_id, line in store.rows("select file_id, line from leaving_row"):
        leaving[file_id].add(line)
    if store.value("select count(*) from leaving_row where cause = 'withdrawn'"):
        for file_id, line in store.rows(
            "select file_id, line from ledger.held_row where list_has_any(codes, ['row_cut_off', 'too_many_fields'])"
        ):
            leaving[file_id].add(line)
    made, unreadable = [], 0
    for file_id, lines in sorted(leaving.items()):
        site, sha256, encoding, form, sheet, profile_sha256 = store.rows(
            "select site, kept_sha256, encoding, format, sheet, profile_sha256 from ledger.file "
            "where file_id = $file_id",
            {"file_id": file_id},
        )[0]
        if sha256 is None:
            continue
        try:
            copy = kept_copy.without_lines(
                programme.store / "archive",
                sha256,
                leaving=lines,
                every_line=_lines_of(store, file_id),
                encoding=encoding,
                sheet=_sheet_as_read(programme, site, profile_sha256) if sheet is None else sheet,
                holds_resources=form == "fhir",
            )
        except StoreFault:
            copy, unreadable = None, unreadable + 1
        made.append((file_id, copy))
    return pl.DataFrame(
        made, schema={"file_id": pl.Int32, "kept_sha256": pl.String}, orient="row"
    ), unreadable


def _sheet_as_read(programme: Programme, site: str, profile_sha256: str | None) -> str | None:
    """The sheet of a workbook read by a version that did not keep which: the profile's, if it is the one of then."""
    now = programme.profiles.get(site)
    return now.sheet_read if now is not None and now.sha256 == profile_sha256 else None


def _lines_of(store: Store, file_id: int) -> list[int]:
    """The first line of every row of a file that is still known."""
    found = store.rows(
        "select line from reading.accepted where file_id = $file_id union all "
        "select line from ledger.unaccepted_row where file_id = $file_id order by line",
        {"file_id": file_id},
    )
    return [line for (line,) in found]


def _removed(store: Store, first_period: str | None) -> Removed:
    withdrawn, expired = store.rows(
        "select count(*) filter (where cause = 'withdrawn'), count(*) filter (where cause = 'expired') "
        "from leaving_row"
    )[0]
    files = store.rows(
        "select site || '/' || name from ledger.file where file_id in (select file_id from leaving_row) "
        "order by file_id"
    )
    return Removed(withdrawn, expired, 0, tuple(name for (name,) in files), first_period)


def _record(store: Store, as_of: date, happened_at: datetime, removed: Removed) -> None:
    """One row that rows were removed, and how many of which files; never whose."""
    number = store.value("select coalesce(max(removal_id), 0) + 1 from ledger.removal")
    store.execute(
        "insert into ledger.removal (removal_id, as_of, happened_at, version, cause, rows, copies) "
        "values ($number, $as_of, $at, $version, $cause, $rows, $copies)",
        {
            "number": number,
            "as_of": as_of,
            "at": happened_at,
            "version": __version__,
            "cause": "withdrawal" if removed.rows_withdrawn else "retention",
            "rows": removed.rows,
            "copies": removed.copies,
        },
    )
    store.execute(
        "insert into ledger.removal_file select $number, file_id, count(*) from leaving_row "
        "group by file_id order by file_id",
        {"number": number},
    )
