"""XLSX and Parquet: typed cells made text in the profile's own writing, as intake's readers do.

A number takes the profile's decimal sign; a date or moment becomes ISO 8601. XLSX needs openpyxl, Parquet Polars: a
small install has the first, the whole of evenbeam both.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

from pipeline.faults import FileHeld, printable
from pipeline.seal import decoding, limits
from pipeline.seal.profile import SealProfile

_BATCH = 20_000


def workbook_rows(path: Path, profile: SealProfile, where: str) -> Iterator[tuple[int, list[str]]]:
    """(row of the sheet, its cells) of one sheet, the first where the profile names none.

    Errors   FileHeld: no such sheet, a file that is no whole workbook, or no openpyxl.
    """
    try:
        import openpyxl
    except ModuleNotFoundError as error:
        raise _not_installed(where, "openpyxl") from error
    _require_sane_size(path, where)
    # The library trusts what it reads, and so fails on a broken workbook in any way there is: all of them mean that.
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        _ = book.sheetnames[0]
    except Exception as error:
        raise _damaged(where, "xlsx") from error
    name = profile.document.get("sheet") or book.sheetnames[0]
    if name not in book.sheetnames:
        raise FileHeld(
            "not sealed",
            where=where,
            found=f"sheets {', '.join(map(printable, book.sheetnames[:20]))}",
            expected=f"a sheet {printable(name)}, as the profile says",
            next="rename the sheet or correct `sheet` in the profile",
        )
    try:
        for line, row in enumerate(_rows_of(book[name], where), start=1):
            if line > limits.ROWS:
                raise decoding.too_many_rows(where, limits.ROWS)
            yield line, [text_of_cell(cell, profile.decimal) for cell in row]
    finally:
        book.close()


def _rows_of(sheet: Any, where: str) -> Iterator[tuple]:
    try:
        sheet.reset_dimensions()  # some writers give a range that is too small
        yield from sheet.iter_rows(values_only=True)
    except Exception as error:
        raise _damaged(where, "xlsx") from error


def _require_sane_size(path: Path, where: str) -> None:
    """Every part of the workbook unpacked once, to count it: what its directory says of them may be a lie."""
    unpacked = 0
    try:
        with zipfile.ZipFile(path) as parts:
            for part in parts.infolist():
                part.file_size += 1
                with parts.open(part) as content:
                    while block := content.read(1 << 20):
                        unpacked += len(block)
                        if unpacked > limits.UNPACKED_BYTES:
                            raise decoding.too_large(where, limits.UNPACKED_BYTES)
    except FileHeld:
        raise
    except Exception as error:
        raise _damaged(where, "xlsx") from error


def parquet_rows(path: Path, profile: SealProfile, where: str) -> Iterator[tuple[int, list[str]]]:
    """Line 1 holds the column names, line 2 the first row."""
    try:
        import polars as pl
    except ModuleNotFoundError as error:
        raise _not_installed(where, "polars") from error
    try:
        table = pl.scan_parquet(path, glob=False)
        names = table.collect_schema().names()
        yield 1, names
        start = 0
        if table.select(pl.len()).collect().item() > limits.ROWS:
            raise decoding.too_many_rows(where, limits.ROWS)
        while rows := table.slice(start, _BATCH).collect().rows():
            for n, row in enumerate(rows, start=start + 2):
                yield n, [text_of_cell(cell, profile.decimal) for cell in row]
            start += len(rows)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError, ValueError, OverflowError) as error:
        raise _damaged(where, "parquet") from error


def text_of_cell(cell: Any, decimal: str) -> str:
    """A typed cell as the profile's text file would have written it."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, datetime):
        plain = cell.replace(tzinfo=None, microsecond=0)
        return plain.strftime("%Y-%m-%d") if plain.time() == time() else plain.strftime("%Y-%m-%d %H:%M:%S")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, int | float | Decimal):
        plain = format(Decimal(repr(cell) if isinstance(cell, float) else cell), "f")
        plain = plain.rstrip("0").rstrip(".") if "." in plain else plain
        return plain.replace(".", decimal)
    return str(cell)


def _not_installed(where: str, library: str) -> FileHeld:
    return FileHeld(
        "not sealed",
        where=where,
        found=f"no {library}, which reads this format",
        expected="CSV, TSV or NDJSON, or that library beside Python",
        next=f"save the file as CSV, or pip install {library}",
    )


def _damaged(where: str, kind: str) -> FileHeld:
    return FileHeld(
        "not sealed",
        where=where,
        found=f"a file that cannot be read as {kind}",
        expected=f"a whole {kind} file without a password",
        next="open it, save it again and seal that",
    )
