"""`evenbeam inspect FILE`: read an unknown file and propose a profile, with the reason for each guess.

What could not be decided is left in the profile as a value that the profile reader refuses, with a comment that
says what to settle: a proposal with open questions cannot be run by mistake.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pipeline import measures
from pipeline.faults import FileHeld, printable
from pipeline.intake import identifiers, inspect_observations, layout, meaning, writing
from pipeline.intake.identifiers import Finding
from pipeline.intake.meaning import Meaning
from pipeline.measures import MISSING_MARKS
from pipeline.seal.toml_text import toml_value

OPEN = "?"  # refused by the profile reader wherever it stands
_LONGEST_COMMENT = 400
_RUNNING_NUMBER = re.compile(r"[0-9]{1,6}")
_YEAR = re.compile(r"\b(?:19|20)\d{2}\b")
_WRITTEN_UNITS = re.compile(r"\d+ ?(?:'|ft|feet|cm|m|in|kg|lbs?|st)\b.*|\d+'.*", re.IGNORECASE)


@dataclass(frozen=True)
class Inspection:
    """What could be told of a file."""

    profile_toml: str
    reasons: list[str]
    undecided: list[str]
    direct_identifiers: list[str]  # columns for which intake would refuse the file


def inspect_file(path: Path) -> Inspection:
    """Propose a profile for an unknown file.

    Errors   FileHeld for a file without rows or of no known format, or one that cannot be opened.
    """
    found = _laid_out(path)
    names = found.look.headers
    if found.settings["format"] == "ndjson" and "resourceType" in names:
        return _of_observations(path)
    columns = [
        [row[place].strip() if place < len(row) else "" for row in found.look.sample]
        for place in range(len(names))
    ]
    identifying = identifiers.findings(
        found.look, as_of=_newest_day(columns), headers=_headers_at_first_sight(names, columns)
    )
    closed = {one.column for one in identifying}
    reasons, undecided = list(found.reasons), []
    sign = writing.decimal_sign(columns, is_typed=found.settings["format"] not in ("csv", "tsv"))
    decimal, thousands = sign.setting or (OPEN, "")  # type: ignore[misc]
    (undecided if sign.undecided else reasons).append(sign.undecided or sign.reason)
    known = [one for one in meaning.meanings(names, columns, decimal) if one.header not in closed]
    _add_only_date(known, names, columns, closed)
    settings = found.settings | _how_numbers_are_written(decimal, thousands, known, columns, reasons)
    lines = [*(f"{key} = {toml_value(value)}" for key, value in settings.items()), "", "[columns]"]
    for one in known:
        lines.append(_column_line(one, columns[one.place], reasons, undecided))
    lines += _missing_lines(known, undecided)
    unused = [
        name.strip()
        for place, name in enumerate(names)
        if place not in {one.place for one in known} and name.strip() and name.strip() not in closed
    ]
    if unused:
        reasons.append(f"not used: {', '.join(unused)}")
    repeated = sorted({one.header for one in known if [name.strip() for name in names].count(one.header) > 1})
    reasons += [f"{name}: this header stands more than once, which no profile can settle" for name in repeated]
    reasons, undecided = [_in_one_line(one) for one in reasons], [_in_one_line(one) for one in undecided]
    return Inspection(
        "\n".join(_heading(path, undecided, identifying, repeated) + lines) + "\n",
        reasons,
        undecided,
        [str(one) for one in identifying],
    )


def _laid_out(path: Path) -> layout.Layout:
    try:
        return layout.layout_of(path)
    except OSError as error:
        raise FileHeld(
            "cannot be read",
            where=str(path),
            found=error.strerror or "a file that does not open",
            expected="a CSV, TSV, XLSX, NDJSON, FHIR or Parquet file",
            next="check the path and its permissions",
        ) from error


def _how_numbers_are_written(
    decimal: str, thousands: str, known: list[Meaning], columns: list[list[str]], reasons: list[str]
) -> dict[str, object]:
    """The profile's keys for what is not usual; why a mark is taken for a missing value goes to `reasons`."""
    settings: dict[str, object] = {}
    if decimal != ".":
        settings["decimal"] = decimal
    if thousands:
        settings["thousands"] = thousands
    marks = writing.unusual_missing_marks(
        [columns[one.place] for one in known if measures.FIELDS[one.field].kind == "number"]
    )
    if marks:
        settings["missing"] = [*MISSING_MARKS, *marks]
        reasons.append(f"missing: {', '.join(marks)} stands in columns of numbers")
    return settings


def _of_observations(path: Path) -> Inspection:
    lines, reasons, undecided, identifying = inspect_observations.propose(path)
    reasons, undecided, identifying = (
        [_in_one_line(one) for one in said] for said in (reasons, undecided, identifying)
    )
    heading = _heading(path, undecided, identifying)
    return Inspection("\n".join(heading + lines) + "\n", reasons, undecided, identifying)


def _column_line(one: Meaning, values: list[str], reasons: list[str], undecided: list[str]) -> str:
    """One line of [columns]; what it rests on goes to `reasons`, what is open to `undecided` and into a comment."""
    kind = measures.FIELDS[one.field].kind
    parts = {"header": one.header}
    filled = [value for value in values if value and value not in MISSING_MARKS]
    open_question, note = one.undecided, ""
    if kind == "identity":
        parts["scope"], note = _scope(filled)
        one.reason += f'; scope = "{parts["scope"]}": {note}'
    elif kind == "moment":
        form = writing.date_format(filled)
        one.reason += f"; {form.reason}" if form.reason else ""
        open_question = form.undecided
        if form.setting or form.undecided:
            parts["format"] = form.setting or OPEN
    elif kind == "sex":
        codes = writing.sex_codes(filled)
        one.reason += f"; {codes.reason}" if codes.reason else ""
        open_question = codes.undecided
        if codes.setting or codes.undecided:
            parts["codes"] = codes.setting or dict.fromkeys(sorted(set(filled))[:4] or [OPEN], OPEN)
    elif kind == "number":
        if sum(bool(_WRITTEN_UNITS.match(value)) for value in filled) > 0.02 * len(
            filled
        ) and measures.FIELDS[one.field].dimension in ("length", "mass"):
            parts["written_units"] = True
            open_question = "" if _is_all_written(filled) else open_question
            one.reason += "; some values carry their own unit"
        if open_question:
            parts["unit"] = OPEN
        elif one.unit and one.unit != measures.FIELDS[one.field].unit:
            parts["unit"] = one.unit
    if open_question:
        undecided.append(open_question)
    if one.reason:
        reasons.append(f"{one.field}: {one.reason}")
    comment = f"   # UNDECIDED: {_in_one_line(open_question)}" if open_question else ""
    comment = comment or (f"   # {note}" if note else "")
    return f"{one.field} = {toml_value(parts)}{comment}"


def _scope(filled: list[str]) -> tuple[str, str]:
    """Whose numbers a participant column holds, and the reason: a decision to look at, for no file can tell it."""
    if filled and all(_RUNNING_NUMBER.fullmatch(value) for value in filled):
        return (
            "site",
            'plain running numbers usually repeat at other sites; use "programme" where a number means the same '
            "person everywhere",
        )
    return (
        "programme",
        'these are no plain running numbers, so a number is taken to mean the same person everywhere; use "site" '
        "where another site may give it to somebody else",
    )


def _headers_at_first_sight(names: tuple[str, ...], columns: list[list[str]]) -> dict[str, str]:
    """field → header, before anything else is known of the file: which columns a profile would use."""
    return {one.field: one.header for one in meaning.meanings(names, columns, ".")}


def _in_one_line(text: str) -> str:
    return printable(text, _LONGEST_COMMENT)


def _is_all_written(filled: list[str]) -> bool:
    """Then no plain number waits for a unit."""
    return all(_WRITTEN_UNITS.match(value) for value in filled)


def _add_only_date(
    known: list[Meaning], names: tuple[str, ...], columns: list[list[str]], closed: set[str]
) -> None:
    """A date column under an unknown header is the day of measurement if it is the only one."""
    if any(one.field == "measured_on" for one in known):
        return
    dates = [
        place
        for place, values in enumerate(columns)
        if names[place].strip() not in closed and writing.is_date_like([value for value in values if value])
    ]
    taken = {one.place for one in known}
    if len(dates) == 1 and dates[0] not in taken:
        known.insert(
            0, Meaning("measured_on", dates[0], names[dates[0]].strip(), reason="the only column of dates")
        )


def _missing_lines(known: list[Meaning], undecided: list[str]) -> list[str]:
    fields = {one.field for one in known}
    lines = []
    for field in measures.FIELDS.values():
        if field.is_required and field.name not in fields:
            undecided.append(f"{field.name}: no header names it")
            also = "" if field.name == "participant" else ", or give a value under [constants] instead"
            lines.append(
                f'{field.name} = {{ header = "" }}   # UNDECIDED: no header names it; name one{also}'
            )
    return lines


def _heading(
    path: Path, undecided: list[str], identifying: Sequence[Finding | str], repeated: Sequence[str] = ()
) -> list[str]:
    lines = [f"# Profile proposed from {printable(path.name)}. Check it against the file before use."]
    if identifying:
        lines.append(
            "# REFUSED as it stands: the file seems to carry direct identifiers, in "
            + "; ".join(map(str, identifying))
            + ". Seal it at the site (evenbeam seal)"
        )
    if repeated:
        lines.append(
            f"# HELD as it stands: the file has more than one column {', '.join(map(_in_one_line, repeated))}. "
            "Have one of them renamed where the file is made"
        )
    if undecided:
        lines.append(
            f"# {len(undecided)} open: each is marked UNDECIDED, and the profile is refused until they are settled."
        )
    return lines


def _newest_day(columns: list[list[str]]) -> date:
    """The newest year that the file mentions, as the reference for what looks like a birthday."""
    years = [int(year) for values in columns for value in values for year in _YEAR.findall(value)]
    return date(max(years, default=2000), 12, 31)
