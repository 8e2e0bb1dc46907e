"""CSV and TSV the exact way: line by line, for files with broken lines, blank lines or quoted line ends.

Each physical line is counted as an editor counts it. A row with fewer or more fields than the header is not
guessed at: it becomes a BrokenLine. A quote that never closes spoils its own line and no other.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from pipeline.faults import FileHeld
from pipeline.intake import decoding, received
from pipeline.intake.amounts import amount
from pipeline.intake.received import BrokenLine
from pipeline.programme import Profile
from pipeline.store import Store

_BATCH = 20_000
_MOST_LINES_A_ROW = 20  # of a quoted cell with line ends in it
_MOST_CHARACTERS_A_LINE = 1 << 20

Cells = list[str]


def read(
    store: Store,
    path: Path,
    profile: Profile,
    places: Mapping[str, int],
    width: int,
    *,
    encoding: str,
    where: str,
) -> None:
    """Fill `received` and `broken_line` from a text file in any encoding."""
    received.begin(store)
    lines: list[int] = []
    rows: list[Cells] = []
    broken: list[BrokenLine] = []
    with decoding.text_of(path, encoding, where=where) as text:
        for line, cells in records(text, profile.separator, profile.quote, where=where):
            if line <= profile.header_row or (cells is not None and received.is_blank(cells)):
                continue
            fault = _fault(line, cells, width)
            if fault:
                broken.append(fault)
                cells = [""] * width
            lines.append(line)
            rows.append(cells or [])
            if len(lines) >= _BATCH:
                received.append(store, lines, rows, places)
                lines, rows = [], []
    received.append(store, lines, rows, places)
    received.append_broken(store, broken)


def records(
    text: Iterable[str], delimiter: str, quote: str, *, where: str
) -> Iterator[tuple[int, Cells | None]]:
    """(physical line on which the row begins, its cells); None for cells that a stray quote has spoilt.

    Lines are as Python splits a text opened with newline="": at \\n, \\r\\n and \\r.
    """
    waiting: list[tuple[int, str]] = []
    numbered = enumerate(text, start=1)
    while True:
        line, content = waiting.pop(0) if waiting else next(numbered, (0, ""))
        if not line:
            return
        if len(content) > _MOST_CHARACTERS_A_LINE:
            raise FileHeld(
                "held",
                where=f"{where}, line {line}",
                found=f"more than {_MOST_CHARACTERS_A_LINE} characters",
                expected="lines of readings",
                next="check that the file is what it should be",
                code="line_too_long",
            )
        content = content.removeprefix("\ufeff") if line == 1 else content
        if not quote or quote not in content:
            yield line, content.rstrip("\r\n").split(delimiter)
            continue
        taken = [content]
        cells = _parsed("".join(taken), delimiter, quote)
        while cells is _OPEN and len(taken) < _MOST_LINES_A_ROW:
            following = waiting.pop(0) if waiting else next(numbered, None)
            if following is None:
                break
            taken.append(following[1])
            cells = _parsed("".join(taken), delimiter, quote)
        if isinstance(cells, list):
            yield line, cells
        else:  # the quote spoils its own line only: the others are read again
            waiting = [(line + n, later) for n, later in enumerate(taken[1:], start=1)] + waiting
            yield line, None


_OPEN = object()


def _parsed(content: str, delimiter: str, quote: str) -> Cells | object | None:
    """The cells of one row; _OPEN where a quote has not closed yet; None where one stands where it must not."""
    try:
        found = list(csv.reader([content], delimiter=delimiter, quotechar=quote, strict=True))
    except csv.Error as error:
        return _OPEN if "unexpected end" in str(error) else None
    return found[0] if found else [""]


def _fault(line: int, cells: Cells | None, width: int) -> BrokenLine | None:
    expected = f"{amount(width, 'field')}, as in the header"
    if cells is None:
        return BrokenLine(line, "row_cut_off", "a quote without its partner", expected)
    if len(cells) < width:
        return BrokenLine(line, "row_cut_off", amount(len(cells), "field"), expected)
    if len(cells) > width:
        return BrokenLine(line, "too_many_fields", amount(len(cells), "field"), expected)
    return None
