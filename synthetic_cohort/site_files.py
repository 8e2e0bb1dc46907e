"""Rows → the bytes of one file in its site's format, the same bytes for the same rows."""

from __future__ import annotations

import gzip
import io
from datetime import datetime

import polars as pl
import xlsxwriter

from synthetic_cohort.analysers import Analysers
from synthetic_cohort.layouts import Layout
from synthetic_cohort.rendering import text_columns, typed_columns
from synthetic_cohort.rows import Rows

WRITTEN_AT = datetime(2026, 1, 1)  # stands in a workbook's properties, so that the bytes do not change
TOTALS_WORD = "Total"
_CUT_AT = 0.45  # share of the last line that is left of a file cut off


def first_line(layout: Layout) -> int:
    """The line of the first row: a text editor's or a sheet's, 1 is the first; parquet counts rows from 1."""
    return layout.header_row + 1 if layout.format in ("csv", "tsv", "xlsx") else 1


def file_bytes(
    rows: Rows,
    layout: Layout,
    analysers: Analysers,
    *,
    is_cut_off: bool = False,
    totals: bool = False,
    identifier: tuple[str, list[str]] | None = None,
) -> bytes:
    """The whole file.

    is_cut_off   the last line ends in the middle, without a line end (text formats)
    totals       a last line with a total of the weights (csv, tsv, xlsx)
    identifier   a further column, header and texts: what no site should send
    """
    if layout.format in ("csv", "tsv"):
        frame = text_columns(rows, layout, analysers)
    else:
        frame = typed_columns(rows, layout, analysers)
    if identifier:
        frame = frame.with_columns(pl.Series(identifier[0], identifier[1], dtype=pl.String))
    if layout.format == "parquet":
        return _parquet(frame)
    if layout.format == "xlsx":
        return _sheet(frame, layout, _total_of(rows) if totals else None)
    text = frame.write_ndjson() if layout.format == "ndjson" else _delimited(frame, layout)
    if totals:
        text += _totals_line(frame, layout, _total_of(rows)) + layout.newline
    if is_cut_off:
        text = _cut(text, layout.newline)
    content = text.encode(layout.encoding)
    return gzip.compress(content, compresslevel=5, mtime=0) if layout.is_gzipped else content


def header_only(layout: Layout) -> bytes:
    """A csv or tsv file with headers and nothing under them."""
    text = layout.newline.join([*layout.preamble, layout.delimiter.join(_headers(layout))]) + layout.newline
    content = text.encode(layout.encoding)
    return gzip.compress(content, compresslevel=5, mtime=0) if layout.is_gzipped else content


def _headers(layout: Layout) -> list[str]:
    return [*layout.headers.values(), *(header for header, _ in layout.extra)]


def _delimited(frame: pl.DataFrame, layout: Layout) -> str:
    head = [*layout.preamble, layout.delimiter.join(frame.columns)]
    lines = frame.select(pl.concat_str(pl.all(), separator=layout.delimiter)).to_series().to_list()
    return layout.newline.join([*head, *lines]) + layout.newline


def _cut(text: str, newline: str) -> str:
    body = text.removesuffix(newline)
    start = body.rindex(newline) + len(newline)
    return body[: start + int((len(body) - start) * _CUT_AT)]


def _total_of(rows: Rows) -> float:
    weight = rows.values["weight"]
    return round(float(weight[weight == weight].sum()), 1)  # nan is not equal to itself


def _totals_line(frame: pl.DataFrame, layout: Layout, total: float) -> str:
    cells = [TOTALS_WORD, *[""] * (frame.width - 1)]
    cells[frame.columns.index(layout.headers["weight"])] = str(total).replace(".", layout.decimal)
    return layout.delimiter.join(cells)


def _parquet(frame: pl.DataFrame) -> bytes:
    buffer = io.BytesIO()
    frame.write_parquet(buffer, statistics=False)
    return buffer.getvalue()


def _sheet(frame: pl.DataFrame, layout: Layout, total: float | None) -> bytes:
    """A workbook with one sheet, written row by row so that memory stays small."""
    buffer = io.BytesIO()
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    with xlsxwriter.Workbook(buffer, options) as book:
        book.set_properties({"created": WRITTEN_AT, "comments": "Invented data."})
        moment = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
        sheet = book.add_worksheet(layout.sheet)
        for i, line in enumerate(layout.preamble):
            sheet.write_string(i, 0, line)
        for j, header in enumerate(frame.columns):
            sheet.write_string(layout.header_row - 1, j, header)
        if layout.date_format:
            header = layout.headers["measured_on"]
            frame = frame.with_columns(pl.col(header).dt.strftime(layout.date_format))
        row = layout.header_row
        for cells in frame.iter_rows():
            for j, cell in enumerate(cells):
                if isinstance(cell, str):
                    sheet.write_string(row, j, cell)
                elif isinstance(cell, datetime):
                    sheet.write_datetime(row, j, cell, moment)
                elif cell is not None:
                    sheet.write_number(row, j, cell)
            row += 1
        if total is not None:
            sheet.write_string(row, 0, TOTALS_WORD)
            sheet.write_number(row, frame.columns.index(layout.headers["weight"]), total)
    return buffer.getvalue()
