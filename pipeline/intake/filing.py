"""checked rows → accepted, held, duplicate or superseded: the ledger and the readings, in the caller's transaction."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline import measures
from pipeline.faults import FileHeld, printable
from pipeline.intake import expectation, ledger
from pipeline.intake.amounts import amount
from pipeline.intake.ledger import Entry
from pipeline.programme import Profile
from pipeline.store import Store

_SHOWN_ROWS = 3
_LONGEST_NAME = 300  # characters of a file's name in a message


@dataclass(frozen=True)
class Filed:
    """What became of one file's rows."""

    file_id: int
    is_wholly_held: bool  # no row could be taken: more likely a wrong profile than so many wrong lines
    read: int
    accepted: int
    held: int
    duplicate: int
    superseded: int
    withdrawn: int  # of people who withdrew: counted, and not kept
    expired: int  # of periods past their time: counted, and not kept
    replaced: int  # readings of earlier files that its rows supersede


def file_rows(
    store: Store, entry: Entry, profile: Profile, *, encoding: str | None, kept_sha256: str
) -> Filed:
    """File every row of `checked`. The caller owns the transaction.

    Errors   FileHeld (no_rows) for a file with nothing below its header; nothing is written then.
    """
    n_received = store.value("select count(*) from received")
    n_leaving = store.value("select count(*) from leaving_line")
    if not n_received + n_leaving:
        raise FileHeld(
            "held",
            where=entry.arrival.where,
            found="headers and no row below them",
            expected="one reading a line",
            next="send the file again",
            code="no_rows",
        )
    site = entry.arrival.site
    file_id = ledger.enter(
        store, entry, profile, state=ledger.ACCEPTED, encoding=encoding, kept_sha256=kept_sha256
    )
    replaced = _find_repeated(store, site)
    _file_held_rows(store, profile, file_id)
    if replaced:
        store.execute_file("14_reading_superseded.sql")
    store.execute_file("14_reading_accepted.sql", file_id=file_id, site=site)
    store.execute_file("15_unaccepted_row.sql", file_id=file_id)
    store.execute_file("15_file_rows.sql", file_id=file_id)
    store.execute_file(
        "18_file_wholly_held.sql", file_id=file_id, reason=str(_every_row_held(entry, n_received))
    )
    counts = store.rows(
        "select state = 'held', rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded, "
        "rows_withdrawn, rows_expired from ledger.file where file_id = $file_id",
        {"file_id": file_id},
    )[0]
    return Filed(file_id, *counts, replaced)


def _find_repeated(store: Store, site: str) -> int:
    """Fill `repeated_reading`; returns how many readings of earlier files are superseded."""
    store.execute_file("12_repeated_identity.sql", site=site)
    if not store.value("select count(*) from repeated_identity"):
        store.execute_file("12_no_repeated_reading.sql")
        return 0
    store.execute_file("12_repeated_reading.sql", site=site)
    return store.value(
        "select count(*) from repeated_reading where outcome = 'superseded' and reading_id is not null"
    )


def _file_held_rows(store: Store, profile: Profile, file_id: int) -> None:
    """Every line with a reason to hold it, in the ledger. Most files have none, and are spared the long statement."""
    if not store.value(
        "select (select count(*) from checked where len(codes) > 0) + (select count(*) from broken_line)"
    ):
        return
    named = [name for name in measures.FIELDS if name != "participant"]
    with store.lent("expectation", expectation.expectations(profile)):
        store.execute_file(
            "13_held_row.sql",
            file_id=file_id,
            fields=named,
            headers=[profile.columns[name].header if name in profile.columns else None for name in named],
        )


def messages_of(store: Store, entry: Entry, filed: Filed) -> list[str]:
    """One message for a file with held rows: its count and its first few; all of them are in the ledger."""
    if not filed.held:
        return []
    shown = store.rows(
        "select line, codes[1], field, found, expected, proposal from ledger.held_row"
        " where file_id = $file_id order by line limit $most",
        {"file_id": filed.file_id, "most": _SHOWN_ROWS},
    )
    where = printable(entry.arrival.where, _LONGEST_NAME)
    rows = [line for row in shown for line in _held_row(where, row)]
    if filed.is_wholly_held:
        return ["\n".join([str(_every_row_held(entry, filed.read)), *rows])]
    n_more = filed.held - len(shown)
    more = (
        f" {amount(n_more, 'more line')} of this file {'was' if n_more == 1 else 'were'} held: "
        f"{_how_to_see_them(entry)}."
        if n_more
        else ""
    )
    rest = filed.read - filed.held
    taken = "The other row was taken." if rest == 1 else f"The other {rest} rows were taken."
    rows.append(
        f"      next: correct the {'line' if filed.held == 1 else 'lines'} and send the file again. {taken}{more}"
    )
    return ["\n".join(rows)]


def _held_row(where: str, row: tuple) -> list[str]:
    """The lines of a message about one held row."""
    line, code, field, found, expected, proposal = row
    lines = [f"held  {where}, line {line}" + (f", field {field}" if field else "") + f" ({code})"]
    middle = [f"found {printable(found)}" if found else "", f"expected {expected}" if expected else ""]
    if any(middle):
        lines.append("      " + "; ".join(part for part in middle if part))
    if proposal:
        lines.append(f"      perhaps: {proposal}")
    return lines


def _every_row_held(entry: Entry, n: int) -> FileHeld:
    """So many wrong lines are more likely one wrong profile."""
    return FileHeld(
        "held",
        where=printable(entry.arrival.where, _LONGEST_NAME),
        found="1 row, and it was held" if n == 1 else f"{n} rows, and every one was held",
        expected="rows that the site's profile can read",
        next="correct the profile and run again, or correct the file and send it again. "
        f"Each row with its reason: {_how_to_see_them(entry)}",
        code="every_row_held",
    )


def _how_to_see_them(entry: Entry) -> str:
    return f"`evenbeam status PROGRAMME --site {entry.arrival.site} --held`"
