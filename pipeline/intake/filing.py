"""checked rows → accepted, held, duplicate or superseded: the ledger and the readings, in the caller's transaction."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline import measures
from pipeline.faults import FileHeld
from pipeline.intake import expectation, ledger
from pipeline.intake.ledger import Entry
from pipeline.programme import Profile
from pipeline.store import Store

_SHOWN_ROWS = 3


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


def file_rows(store: Store, entry: Entry, profile: Profile, *, encoding: str | None) -> Filed:
    """File every row of `checked`. The caller owns the transaction.

    Errors   FileHeld (no_rows) for a file with nothing below its header; nothing is written then.
    """
    if not store.value("select count(*) from received"):
        raise FileHeld(
            "held",
            where=entry.arrival.where,
            found="headers and no row below them",
            expected="one reading a line",
            next="send the file again",
            code="no_rows",
        )
    site = entry.arrival.site
    file_id = ledger.enter(store, entry, profile, state=ledger.ACCEPTED, encoding=encoding)
    store.execute_file("12_repeated_reading.sql", site=site)
    named = [name for name in measures.FIELDS if name != "participant"]
    with store.lent("expectation", expectation.expectations(profile)):
        store.execute_file(
            "13_held_row.sql",
            file_id=file_id,
            fields=named,
            headers=[profile.columns[name].header if name in profile.columns else None for name in named],
        )
    store.execute_file("14_reading_accepted.sql", file_id=file_id, site=site)
    store.execute_file("15_file_rows.sql", file_id=file_id)
    store.execute_file("18_file_wholly_held.sql", file_id=file_id)
    counts = store.rows(
        "select state = 'held', rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded from ledger.file"
        " where file_id = $file_id",
        {"file_id": file_id},
    )[0]
    return Filed(file_id, *counts)


def messages_of(store: Store, entry: Entry, filed: Filed) -> list[str]:
    """One message for a file with held rows: its count and its first few; all of them are in the ledger."""
    if not filed.held:
        return []
    where = entry.arrival.where
    shown = store.rows(
        "select line, codes[1], field, found, expected, proposal from ledger.held_row"
        " where file_id = $file_id order by line limit $most",
        {"file_id": filed.file_id, "most": _SHOWN_ROWS},
    )
    lines = []
    for line, code, field, found, expected, proposal in shown:
        lines.append(f"held  {where}, line {line}" + (f", field {field}" if field else "") + f" ({code})")
        middle = [f"found {found}" if found else "", f"expected {expected}" if expected else ""]
        lines.append("      " + "; ".join(part for part in middle if part))
        if proposal:
            lines.append(f"      perhaps: {proposal}")
    more = (
        f" {filed.held - len(shown)} more lines of this file were held: `evenbeam status`."
        if filed.held > len(shown)
        else ""
    )
    rest = filed.read - filed.held
    taken = {0: "No row was taken.", 1: "The other row was taken."}.get(
        rest, f"The other {rest} rows were taken."
    )
    lines.append(
        f"      next: correct the {'line' if filed.held == 1 else 'lines'} and send the file again. {taken}{more}"
    )
    return ["\n".join(line for line in lines if line.strip())]
