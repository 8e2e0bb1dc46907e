"""Direct identifiers: does a file say who somebody is? Then nothing of it is kept, and no value is repeated.

By header (pipeline/seal/identifier_headers.py), and by content: e-mail addresses and names of participants in any row;
telephone, national and birth numbers, full names and remarks on named people by the shape of a column, seen in its
first rows and in rows spread over the whole file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.faults import FileRefused, printable
from pipeline.intake.national_numbers import are_national_numbers
from pipeline.intake.received import Look
from pipeline.seal.addresses import holds_address
from pipeline.seal.full_names import are_full_names, are_named_participants, are_remarks_on_named_people
from pipeline.seal.header_words import tidy
from pipeline.seal.identifier_content import kind_of_content
from pipeline.seal.identifier_headers import ADDRESS, NAME, NATIONAL, kind_of_header

FULL_NAMES, REMARKS = "name-like text", "text that names people"


@dataclass(frozen=True)
class Finding:
    """One column, or one line, that says who somebody is."""

    column: str  # its header; the number of the column where the header itself is a value; "" for a line
    kind: str
    why: str  # header, content
    line: int | None = None

    def __str__(self) -> str:
        places = [f"column {printable(self.column)}"] if self.column else []
        places += [f"line {self.line}"] if self.line is not None else []
        return f"{', '.join(places) or 'outside the rows'}: {self.kind} (by its {self.why})"


def refuse_direct_identifiers(
    look: Look, *, where: str, as_of: date, headers: Mapping[str, str] | None = None
) -> None:
    """Errors   FileRefused naming every such column, and never a value. `headers` as for `findings`."""
    found = findings(look, as_of=as_of, headers=headers)
    if found:
        raise _refused(found, where)


def refuse_named_participants(worded: Sequence[str], of: int, *, where: str, header: str) -> None:
    """The participant's column over all rows of a file.

    Shapes   worded: the different participants' numbers that are made of letters; of: how many different ones of
             any kind there are.
    Errors   FileRefused when there are names among them.
    """
    if are_named_participants(worded, of):
        raise _refused([Finding(header, NAME, "content")], where)


def findings(look: Look, *, as_of: date, headers: Mapping[str, str] | None = None) -> list[Finding]:
    """Every column with a direct identifier, in the file's order.

    `headers`: field → header of the columns that are put to use. An address below the first rows of a text file is
    known by its line alone.
    """
    fields = {tidy(header).casefold(): field for field, header in (headers or {}).items()}
    used = [fields.get(tidy(header).casefold()) for header in look.headers]
    people = used.index("participant") if "participant" in used else None
    found = [Finding(column, kind, "header") for column, kind in look.identifying]
    for place, (header, field) in enumerate(zip(look.headers, used, strict=True)):
        kind, why = kind_of_header(header), "header"
        if not kind:
            why = "content"
            kind = _kind_in(look.sample, place, field, people, as_of) or _kind_in(
                look.spread, place, field, people, as_of
            )
        if kind:
            shown = f"number {place + 1}" if holds_address(header) else header.strip()
            line = (
                look.address.line
                if kind == ADDRESS and look.address and look.address.column == shown
                else None
            )
            found.append(Finding(shown or f"number {place + 1}", kind, why, line))
    if look.address and not any(one.kind == ADDRESS for one in found):
        found.append(Finding(look.address.column, ADDRESS, "content", look.address.line))
    return found


def _kind_in(
    rows: Sequence[Sequence[str]], place: int, field: str | None, people: int | None, as_of: date
) -> str | None:
    """What kind of direct identifier the cells of one column are in these rows, or None."""
    values = [value for row in rows if place < len(row) and (value := (row[place] or "").strip())]
    kind = kind_of_content(
        values, as_of=as_of, is_participant=field == "participant", is_measured_on=field == "measured_on"
    )
    if kind:
        return kind
    if field == "participant" and are_named_participants(values):
        return NAME
    if field not in (None, "participant"):
        return None
    if are_national_numbers(values):
        return NATIONAL
    if field:
        return None
    filled = [row for row in rows if place < len(row) and (row[place] or "").strip()]
    numbers = [
        row[people].strip() if people is not None and people < len(row) else str(n)
        for n, row in enumerate(filled)
    ]
    if are_full_names(values, numbers):
        return FULL_NAMES
    return REMARKS if are_remarks_on_named_people(values) else None


def _refused(found: Sequence[Finding], where: str) -> FileRefused:
    return FileRefused(
        "refused",
        where=where,
        found="; ".join(map(str, found)),
        expected="no direct identifiers in the file",
        next="seal the file at the site (evenbeam seal), or take the column out or put a number of your own in its "
        "place, and send it again. Nothing of this file was kept; delete it from the inbox.",
        code="direct_identifier",
    )
