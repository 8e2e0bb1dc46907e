"""CSV and TSV the exact way: line by line, for files with broken lines, blank lines or quoted line ends.

A row with fewer or more fields than the header is not guessed at: it becomes a BrokenLine.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pipeline.intake import received
from pipeline.intake.amounts import amount
from pipeline.intake.received import BrokenLine
from pipeline.programme import Profile
from pipeline.seal import decoding
from pipeline.seal.delimited_rows import Cells, records
from pipeline.store import Store

_BATCH = 20_000


def read(
    store: Store,
    path: Path,
    profile: Profile,
    places: Mapping[str, int],
    width: int,
    *,
    encoding: str,
    where: str,
    most_characters: int,
) -> None:
    """Fill `received` and `broken_line` from a text file in any encoding."""
    received.begin(store)
    lines: list[int] = []
    rows: list[Cells] = []
    broken: list[BrokenLine] = []
    with decoding.text_of(path, encoding, where=where) as text:
        physical = decoding.lines_of(text, where=where, most=most_characters)
        for line, cells in records(physical, profile.separator, profile.quote):
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


def _fault(line: int, cells: Cells | None, width: int) -> BrokenLine | None:
    expected = f"{amount(width, 'field')}, as in the header"
    if cells is None:
        return BrokenLine(line, "row_cut_off", "a quote without its partner", expected)
    if len(cells) < width:
        return BrokenLine(line, "row_cut_off", amount(len(cells), "field"), expected)
    if len(cells) > width:
        return BrokenLine(line, "too_many_fields", amount(len(cells), "field"), expected)
    return None
