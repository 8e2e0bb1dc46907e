"""A kept copy of a received file without some of its lines.

The lines are emptied, not taken out: every other row keeps the line that the ledger, a held row and a trace name. A
copy is named by the sha256 of its own bytes, like every file of the archive, and the ledger says which copy stands
for which received file.

    text     the lines of the row are left empty, in the file's own encoding and line ends
    FHIR     likewise, of every resource that belongs to the row (kept_resources.py)
    Parquet  the row's cells are null
    XLSX     the sheet that was read is written anew without the row, as the cells' text; other sheets, which nobody
             read and which may hold the same people, are not kept
"""

from __future__ import annotations

import gzip
import io
from bisect import bisect_right
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

import fastexcel
import polars as pl

from pipeline.faults import StoreFault
from pipeline.intake import archive, kept_resources

_GZIP = b"\x1f\x8b"
_NO_TIME = datetime(2000, 1, 1)  # in a workbook made twice, so that the bytes are the same


def without_lines(
    folder: Path,
    sha256: str,
    *,
    leaving: Iterable[int],
    every_line: Iterable[int],
    encoding: str | None,
    sheet: str | None = None,
    holds_resources: bool = False,
) -> str:
    """Write the copy of `sha256` that lacks the lines `leaving`; returns the sha256 under which it stands.

    `every_line` are the first lines of all rows, so that a row written over several lines goes whole; `sheet` is the
    one of a workbook that was read ('': the first), None where nobody knows. The copy as received stays;
    `archive.sweep` takes it once the ledger no longer names it.

    Errors   StoreFault when the kept copy is gone, cannot be read, or is not what was kept (its lines may
             stand elsewhere); and of a workbook of several sheets when nobody knows which one was read.
    """
    path = archive.path_of(folder, sha256)
    gone = set(leaving)
    try:
        if archive.digest_of(path)[0] != sha256:
            raise _unreadable(path, "other bytes than those that were kept")
        with path.open("rb") as file:
            first = file.read(4)
        if first == b"PAR1":
            content = _parquet(path, gone)
        elif first == b"PK\x03\x04":
            content = _workbook(path, gone, sheet)
        else:
            content = _text(
                path, gone, sorted(every_line), encoding or "utf-8", first[:2] == _GZIP, holds_resources
            )
    except (
        OSError,
        EOFError,
        UnicodeError,
        LookupError,
        pl.exceptions.PolarsError,
        fastexcel.FastExcelError,
    ) as error:
        raise _unreadable(path, type(error).__name__) from error
    return archive.keep_bytes(content, folder)


def _unreadable(path: Path, found: str) -> StoreFault:
    return StoreFault(
        "kept copy unreadable",
        where=str(path),
        found=found,
        expected="the file as it was received",
        next="restore it from a backup and try again; nothing was removed yet",
    )


def _text(
    path: Path, gone: set[int], starts: list[int], encoding: str, is_gzip: bool, holds_resources: bool
) -> bytes:
    if holds_resources:  # every line then stands for itself
        with gzip.open(path, "rb") if is_gzip else path.open("rb") as raw:
            gone = kept_resources.lines_that_leave(io.TextIOWrapper(raw, encoding=encoding), gone, starts)
        starts = sorted({*starts, *gone, *(line + 1 for line in gone)})
    with gzip.open(path, "rb") if is_gzip else path.open("rb") as raw:
        text = io.TextIOWrapper(raw, encoding=encoding, newline="")
        kept = io.StringIO(newline="")
        for line, content in enumerate(text, start=1):
            place = bisect_right(starts, line) - 1  # the row that this line belongs to
            is_gone = place >= 0 and starts[place] in gone
            kept.write(content[len(content.rstrip("\r\n")) :] if is_gone else content)
    content = kept.getvalue().encode(encoding)
    return gzip.compress(content, mtime=0) if is_gzip else content


def _parquet(path: Path, gone: set[int]) -> bytes:
    rows = pl.read_parquet(path, glob=False)
    is_gone = pl.int_range(1, rows.height + 1).is_in(sorted(gone))
    buffer = io.BytesIO()
    rows.with_columns(pl.when(~is_gone).then(pl.all())).write_parquet(buffer)
    return buffer.getvalue()


def _workbook(path: Path, gone: set[int], sheet: str | None) -> bytes:
    from xlsxwriter import Workbook

    book = fastexcel.read_excel(path.read_bytes())
    if sheet is None and len(book.sheet_names) > 1:
        raise LookupError("several sheets, and nobody knows which of them the lines are of")
    name = sheet or book.sheet_names[0]
    texts, numbers, moments = (
        pl.DataFrame(book.load_sheet(name, header_row=None, skip_rows=0, dtypes=kind))
        for kind in ("string", "float", "datetime")
    )
    buffer = io.BytesIO()
    with Workbook(buffer, {"in_memory": True}) as made:
        made.set_properties({"created": _NO_TIME})
        page = made.add_worksheet(name)
        for column, (text, number, moment) in enumerate(zip(texts, numbers, moments, strict=True)):
            for row, cell in enumerate(text):
                if cell is None or row + 1 in gone:
                    continue
                if number[row] is not None and moment[row] is not None:  # only a number reads as both
                    page.write_number(row, column, number[row])
                else:
                    page.write_string(row, column, cell)
    return buffer.getvalue()
