"""A table written a column at a time has the cells that XlsxWriter writes one by one. Read by fastexcel as well."""

from __future__ import annotations

import re
import zipfile
from datetime import datetime
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from fastexcel import read_excel

from dashboards import table_sheet
from dashboards.table_sheet import TableSheet

TEXTS = [
    "plain", "plain", None, "", " led by a space", "=1+1", "@x", "<b>&\"'", "</v></c>", "a\x01b", "_x0001_",
    "line\nbreak", "Größe 動き 🙂", "mailto:x@y", "0012", "<r", "{=1}", "x" * 400,
]  # fmt: skip
NUMBERS = [
    0.1, None, 1 / 3, 1e-7, -2.5, 1e22, 123456.7, 0.0, 1.0, 5e-324, 8.41, 9.95, None, 0.3, 2.0, 7.0, 1e15, 4.0,
]  # fmt: skip
ROWS = pl.DataFrame(
    {
        "words": TEXTS,
        "share": NUMBERS,
        "none": pl.Series([None] * len(TEXTS), dtype=pl.Float64),
        "n": [0, 1, None, -3, 2**53, *range(len(TEXTS) - 5)],
        "again": TEXTS[::-1],
    }
)
CELL = re.compile(r'<c r="([A-Z]+\d+)"(?: s="(\d+)")?(?: t="(\w+)")?><v>([^<]*)</v></c>')


def write(path: Path, rows: pl.DataFrame, is_by_cell: bool) -> Path:
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        book.set_properties({"created": datetime(2026, 1, 15)})  # else the second in which each is written
        head = book.add_format({"bold": True})
        styles = {
            pl.Float64: book.add_format({"num_format": "0.00"}),
            pl.Int64: book.add_format({"num_format": "0"}),
        }
        sheet = book.add_worksheet("rows", None if is_by_cell else TableSheet)
        for place, name in enumerate(rows.columns):
            sheet.write_string(0, place, name, head)
        if is_by_cell:
            for place, column in enumerate(rows):
                for line, value in enumerate(column.to_list(), start=1):
                    if isinstance(value, str):
                        sheet.write_string(line, place, value)
                    elif value is not None:
                        sheet.write_number(line, place, value, styles[column.dtype])
        else:
            sheet.hold(rows, [styles.get(kind) for kind in rows.dtypes])
        sheet.autofilter(0, 0, rows.height, rows.width - 1)
    return path


def parts(path: Path) -> tuple[list, list[str], dict[str, str]]:
    """Cells with their texts looked up, the lines' numbers, and the rest of every part."""
    with zipfile.ZipFile(path) as archive:
        text = {name: archive.read(name).decode() for name in archive.namelist()}
    shared = re.findall(r"<si>(.*?)</si>", text.pop("xl/sharedStrings.xml"), re.DOTALL)
    sheet = text.pop("xl/worksheets/sheet1.xml")
    cells = [
        (place, style, kind, shared[int(value)] if kind == "s" else float(value))
        for place, style, kind, value in CELL.findall(sheet)
    ]
    assert len(cells) == sheet.count("<c ")
    head, _, tail = re.split("<sheetData>|</sheetData>", sheet)
    return cells, re.findall(r'<row r="(\d+)"', sheet), {**text, "head": head, "tail": tail}


@pytest.mark.parametrize("most", [1, 5, 8192])
def test_cells_styles_lines_and_everything_around_them_are_those_of_cells_written_one_by_one(
    tmp_path, monkeypatch, most
):
    monkeypatch.setattr(table_sheet, "_ROWS_AT_ONCE", most)
    expected = parts(write(tmp_path / "cells.xlsx", ROWS, True))
    assert parts(write(tmp_path / "columns.xlsx", ROWS, False)) == expected


def test_a_table_without_rows_has_its_head(tmp_path):
    path = write(tmp_path / "none.xlsx", ROWS.clear(), False)
    assert parts(path) == parts(write(tmp_path / "cells.xlsx", ROWS.clear(), True))
    assert read_excel(path).load_sheet("rows").to_polars().columns == ROWS.columns


def test_another_reader_finds_every_value_to_the_last_bit(tmp_path):
    rows = ROWS.filter(pl.col("words").is_not_null(), pl.col("words") != "").drop("none", "again")
    book = read_excel(write(tmp_path / "rows.xlsx", rows, False))
    found = book.load_sheet("rows", dtypes={"words": "string"}).to_polars()
    assert found["share"].cast(pl.Float64).to_list() == rows["share"].to_list()
    assert found["n"].cast(pl.Int64).to_list() == rows["n"].to_list()
    assert found["words"].to_list() == rows["words"].to_list()


@pytest.mark.parametrize("text", ["<r>&</r>", "<r></c></r>", "y" * 40_000, "🙂" * 20_000])
def test_a_text_that_a_cell_cannot_hold_as_it_is_does_not_break_the_file(tmp_path, text):
    rows = pl.DataFrame({"words": [text, "after"]})
    found = read_excel(write(tmp_path / "rows.xlsx", rows, False)).load_sheet("rows").to_polars()["words"].to_list()
    assert found[1] == "after" and text.startswith(found[0].rstrip()) and len(found[0]) > 5
