"""E-mail addresses in an XLSX file, wherever they stand: any row of any sheet, a comment, a link.

The archive keeps a workbook whole, and so whatever another sheet says. Its parts are read as bytes, a block at a time;
only where one holds an address are the sheets read as cells, to say which column and row it is. Who made the workbook
(docProps) or commented on it (persons) and what stands above the headers names nobody measured.
"""

from __future__ import annotations

import lzma
import struct
import zipfile
import zlib
from pathlib import Path

import polars as pl

from pipeline.intake.readers import workbook_process
from pipeline.intake.received import AddressPlace
from pipeline.seal.addresses import PATTERN_OF_CELLS, AddressScan

# What a zip file that is none, or not whole, raises while it is read; encrypted parts raise the last.
DAMAGE = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, OSError, EOFError, ValueError, LookupError, struct.error,
    NotImplementedError, RuntimeError,
)  # fmt: skip

_BLOCK = 1 << 20
_WRITERS = ("docProps/", "customXml/", "xl/persons/")  # who made it, and the accounts of those who commented
_CELLS = ("xl/sharedStrings", "xl/worksheets/sheet")  # parts that hold cells


def address_in(path: Path, *, sheet: str | int, header_row: int, memory: str) -> AddressPlace | None:
    """Where the first address stands, or None.

    Errors   DAMAGE, workbook_process.Unreadable: a damaged workbook; workbook_process.TooMuch.
    """
    with zipfile.ZipFile(path) as parts:
        holding = [
            part.filename
            for part in parts.infolist()
            if not part.filename.startswith(_WRITERS)
            and _holds_address(parts, part)
        ]
    beside = [name for name in holding if not name.startswith(_CELLS) or "_rels" in name]
    if len(beside) < len(holding):
        place = _place_in_cells(path, sheet, header_row, memory)
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


def _place_in_cells(path: Path, sheet: str | int, header_row: int, memory: str) -> AddressPlace | None:
    names = workbook_process.sheets_of(path, memory=memory)
    used = sheet if isinstance(sheet, str) else names[sheet]
    for name in names:
        loaded = workbook_process.cells_of(path, sheet=name, memory=memory)
        place = place_in_rows(loaded, header_row=header_row if name == used else 0)
        if place:
            return place if name == used else AddressPlace(column="(another sheet of the workbook)")
    return None


def _holds_address(parts: zipfile.ZipFile, part: zipfile.ZipInfo) -> bool:
    """Read to its end, which is where its directory says: what lies behind that would be read by others only."""
    scan, size, said = AddressScan(), 0, part.file_size
    part.file_size += 1
    with parts.open(part) as content:
        while block := content.read(_BLOCK):
            size += len(block)
            scan.feed(block, 0)
    if size != said:
        raise zipfile.BadZipFile(f"{size} bytes, not {said}")
    return scan.line is not None
