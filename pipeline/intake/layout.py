"""How an unknown file is laid out: format, encoding, delimiter, header row. Each finding comes with its reason."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.faults import FileHeld
from pipeline.intake import readers
from pipeline.intake.amounts import amount
from pipeline.intake.received import Look, is_blank
from pipeline.programme import Column, Limits, Profile
from pipeline.seal import decoding
from pipeline.seal.delimited_rows import records

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_LINES = 200
_MOST_PREAMBLE = 20
_NUMBER = re.compile(r"[+-]?\d[\d.,' ]*%?")

# Only to open the file with a reader of intake: the fields are not used.
_ANY = {name: Column(header="?") for name in ("participant", "measured_on", "sex", "age", "height", "weight")}


@dataclass
class Layout:
    """The part of a profile that says how to open the file, and what the file then shows."""

    settings: dict[str, object]
    look: Look
    reasons: list[str] = field(default_factory=list)


def layout_of(path: Path) -> Layout:
    """Errors   FileHeld for a file without rows, or that is no text and no known format."""
    where = path.name
    with path.open("rb") as file:
        first = file.read(4)
    if first == b"PK\x03\x04":
        return _typed(path, "xlsx", "it begins like a zip file, as xlsx does", where)
    if first == b"PAR1":
        return _typed(path, "parquet", "it begins with PAR1", where)
    facts = decoding.survey(path, where=where, encoding=None, most_rows=1 << 62)
    reasons = (
        ["gzip: it begins with the gzip mark; it is unpacked whatever its name says"] if facts.is_gzip else []
    )
    settings: dict[str, object] = {}
    encoding = facts.encoding.removesuffix("-sig")
    if encoding == "utf-8" or facts.encoding == "utf-16":
        reasons.append(
            f"encoding: {facts.encoding}, found anew for every file, so the profile does not name it"
        )
    else:
        settings["encoding"] = encoding
        reasons.append(
            f"encoding = {encoding}: the bytes are not UTF-8, and read so they give plausible letters"
        )
    with decoding.text_of(path, facts.encoding, where=where) as text:
        whole = decoding.lines_of(text, where=where, most=Limits().line_characters)
        lines = [line.removeprefix("\ufeff").rstrip("\r\n") for line in itertools.islice(whole, _LINES)]
    if not any(line.strip() for line in lines):
        raise FileHeld(
            "held",
            where=where,
            found="an empty file",
            expected="headers and rows",
            next="try another file",
            code="no_rows",
        )
    if next(line for line in lines if line.strip()).lstrip().startswith("{"):
        reasons.insert(0, "format = ndjson: the first line is a JSON object")
        return _opened(path, {"format": "ndjson", **settings}, reasons, where)
    return _delimited(path, lines, settings, reasons, where)


def _delimited(
    path: Path, lines: list[str], settings: dict[str, object], reasons: list[str], where: str
) -> Layout:
    delimiter, width, share = _delimiter(lines)
    if width < 2:
        raise FileHeld(
            "held",
            where=where,
            found="text in which no delimiter makes columns",
            expected="CSV, TSV, NDJSON, XLSX or Parquet",
            next="check that the file is what it should be",
            code="other_format",
        )
    settings["format"] = "tsv" if delimiter == "\t" else "csv"
    if delimiter not in (",", "\t"):
        settings["delimiter"] = delimiter
    reasons.insert(
        0,
        f"format = {settings['format']}: a {_DELIMITERS[delimiter]} makes {width} columns in "
        f"{share:.0%} of the first {amount(len(lines), 'line')}",
    )
    header_row = _header_row([_cells(line, delimiter) for line in lines], width)
    if header_row != 1:
        settings["header_row"] = header_row
        reasons.append(
            f"header_row = {header_row}: the first line with {width} filled cells and no number in them"
        )
    return _opened(path, settings, reasons, where)


def _typed(path: Path, kind: str, reason: str, where: str) -> Layout:
    settings: dict[str, object] = {"format": kind}
    reasons = [f"format = {kind}: {reason}"]
    if kind == "xlsx":
        top = readers.SheetReader(path, Profile(format="xlsx", columns=_ANY), Limits(), where=where).top_rows(
            path
        )
        width = Counter(sum(cell != "" for cell in row) for row in top if not is_blank(row)).most_common(1)
        header_row = _header_row([list(row) for row in top], width[0][0] if width else 1)
        if header_row != 1:
            settings["header_row"] = header_row
            reasons.append(
                f"header_row = {header_row}: the first row with filled cells and no number in them"
            )
    return _opened(path, settings, reasons, where)


def _opened(path: Path, settings: dict[str, object], reasons: list[str], where: str) -> Layout:
    profile = Profile(columns=_ANY, **settings)  # type: ignore[arg-type]
    look = readers.reader_for(path, profile, Limits(), where=where).look(path)
    return Layout(settings, look, reasons)


def _delimiter(lines: list[str]) -> tuple[str, int, float]:
    """The delimiter whose commonest number of columns is shared by most lines; of equals the one with more columns."""
    best = (",", 1, 0.0)
    for delimiter in _DELIMITERS:
        widths = Counter(len(_cells(line, delimiter)) for line in lines if line.strip())
        width, count = max(widths.items(), key=lambda item: (item[0] > 1, item[1], item[0]))
        share = count / sum(widths.values())
        if width > 1 and (round(share, 1), width) > (round(best[2], 1) if best[1] > 1 else 0.0, best[1]):
            best = (delimiter, width, share)
    return best


def _cells(line: str, delimiter: str) -> list[str]:
    record = next(records([line], delimiter, '"'), None)
    return (record[1] if record else None) or [line]


def _header_row(rows: list[list[str]], width: int) -> int:
    for number, row in enumerate(rows[:_MOST_PREAMBLE], start=1):
        filled = [cell for cell in row if cell.strip()]
        if len(filled) >= max(2, 0.8 * width) and not any(_NUMBER.fullmatch(cell.strip()) for cell in filled):
            return number
    return 1
