"""What is said of held rows: one message a file with its count and its first few; all of them are in the ledger."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from pipeline.faults import FileHeld, printable
from pipeline.intake.amounts import amount
from pipeline.intake.arrival import Arrival
from pipeline.store import Store

_SHOWN_ROWS = 3
_LONGEST_NAME = 300  # characters of a file's name in a message


def first_held_rows(store: Store, file_ids: Sequence[int]) -> dict[int, list[tuple]]:
    """The first held rows of each file that has any: (line, first code, field, found, expected, proposal)."""
    shown: dict[int, list[tuple]] = defaultdict(list)
    if not file_ids:
        return shown
    for file_id, *row in store.rows(
        "select file_id, line, codes[1], field, found, expected, proposal from ledger.held_row "
        "where file_id in (select unnest($file_ids)) "
        "qualify row_number() over (partition by file_id order by line) <= $most order by file_id, line",
        {"file_ids": file_ids, "most": _SHOWN_ROWS},
    ):
        shown[file_id].append(tuple(row))
    return shown


def held_rows_message(arrival: Arrival, shown: list[tuple], *, held: int, of: int) -> str:
    """The message of a file of which `held` rows `of` those read were held."""
    where = printable(arrival.where, _LONGEST_NAME)
    rows = [line for row in shown for line in _held_row(where, row)]
    if held == of:
        return "\n".join([str(every_row_held(arrival, of)), *rows])
    n_more = held - len(shown)
    more = (
        f" {amount(n_more, 'more line')} of this file {'was' if n_more == 1 else 'were'} held: "
        f"{_how_to_see_them(arrival)}."
        if n_more
        else ""
    )
    rest = of - held
    taken = "The other row was taken." if rest == 1 else f"The other {rest} rows were taken."
    rows.append(
        f"      next: correct the {'line' if held == 1 else 'lines'} and send the file again. {taken}{more}"
    )
    return "\n".join(rows)


def every_row_held(arrival: Arrival, n: int) -> FileHeld:
    """So many wrong lines are more likely one wrong profile."""
    return FileHeld(
        "held",
        where=printable(arrival.where, _LONGEST_NAME),
        found="1 row, and it was held" if n == 1 else f"{n} rows, and every one was held",
        expected="rows that the site's profile can read",
        next="correct the profile and run again, or correct the file and send it again. "
        f"Each row with its reason: {_how_to_see_them(arrival)}",
        code="every_row_held",
    )


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


def _how_to_see_them(arrival: Arrival) -> str:
    return f"`evenbeam status PROGRAMME --site {arrival.site} --held`"
