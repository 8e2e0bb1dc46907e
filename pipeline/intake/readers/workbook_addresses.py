"""E-mail addresses in an XLSX file, wherever they stand: any row of any sheet, a comment, a link.

The archive keeps a workbook whole, and so whatever another sheet says. Its parts are read as bytes, a block at a time;
only where one holds an address are the sheets read as cells, to say which column and row it is. Who made the workbook
(docProps) or commented on it (persons) and what stands above the headers names nobody measured.
"""

from __future__ import annotations

import zipfile
from pathlib import Path

import fastexcel
import polars as pl

from pipeline.intake.received import AddressPlace
from pipeline.seal.addresses import PATTERN_OF_CELLS, AddressScan

_BLOCK = 1 << 20
_WRITERS = ("xl/persons/",)  # the accounts of those who commented
_CELLS = ("xl/sharedStrings", "xl/worksheets/sheet")  # parts that hold cells


def address_in(path: Path, *, sheet: str | int, header_row: int) -> AddressPlace | None:
    """Where the first address stands, or None.

    Errors   zipfile.BadZipFile, fastexcel.FastExcelError: a damaged workbook.
    """
    with zipfile.ZipFile(path) as parts:
        holding = [
            part.filename
            for part in parts.infolist()
            if part.filename.startswith("xl/")
            and not part.filename.startswith(_WRITERS)
            and _holds_address(parts, part)
        ]
    beside = [name for name in holding if not name.startswith(_CELLS) or "_rels" in name]
    if len(beside) < len(holding):
        place = _place_in_cells(path, sheet, header_row)
        if place:
            return place
    return AddressPlace(column="(a comment or link of the workbook)") if beside else None


def place_in_rows(rows: pl.DataFrame, *, header_row: int) -> AddressPlace | None:
    """The first cell below the headers with an address. `rows`: the sheet as text, headers and preamble included."""
    below = rows.with_row_index("_row", offset=1).filter(pl.col("_row") > header_row)
    for place, name in enumerate(rows.columns):
        hits = below.filter(pl.col(name).str.contains(PATTERN_OF_CELLS))
        if hits.height:
            header = rows[name][header_row - 1] if rows.height >= header_row else None
            return AddressPlace((header or "").strip() or f"number {place + 1}", hits["_row"][0])
    return None


def _place_in_cells(path: Path, sheet: str | int, header_row: int) -> AddressPlace | None:
    book = fastexcel.read_excel(path.read_bytes())
    used = sheet if isinstance(sheet, str) else book.sheet_names[sheet]
    for name in book.sheet_names:
        loaded = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string")
        place = place_in_rows(pl.DataFrame(loaded), header_row=header_row if name == used else 0)
        if place:
            return place if name == used else AddressPlace(column="(another sheet of the workbook)")
    return None


def _holds_address(parts: zipfile.ZipFile, part: zipfile.ZipInfo) -> bool:
    scan = AddressScan()
    with parts.open(part) as content:
        while block := content.read(_BLOCK):
            scan.feed(block, 0)
            if scan.line is not None:
                return True
    return False
