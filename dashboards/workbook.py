"""A release as one workbook: a sheet a table, and a dictionary of every column.

Nothing in it is a formula or a link: text is written as text, so a site's name that begins with "=" stays a name.
A cell that is empty is withheld or does not apply; the column `flag` tells which.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from dashboards.numbers import count, period_title
from dashboards.release import Release
from dashboards.stamp import stamp
from dashboards.table_sheet import TableSheet, storable
from dashboards.wording import TEXT, say

FILE = "tables.xlsx"
MOST_ROWS = 100_000  # of a sheet: more is slow to open, and past a million impossible
AS_TEXT = {
    "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
}  # fmt: skip
NO_UNIT = ("", "none")


def write_workbook(release: Release) -> Path:
    """Write every table that has rows; returns the path. The same release gives the same bytes.

    A table by period holds the latest period, and what is told over all of them; the files beside it hold every one.
    Where that is still more than MOST_ROWS, only the rows of all sites together, and the first sheet says so.
    """
    path = release.folder / FILE
    as_of = datetime.fromisoformat(release.facts["as_of"])
    with xlsxwriter.Workbook(path, AS_TEXT) as book:
        book.set_properties({"title": release.facts["programme"], "author": release.facts["programme"],
                             "created": as_of})  # fmt: skip
        styles = _styles(book)
        first = book.add_worksheet(TEXT["book.contents"])
        dictionary = book.add_worksheet(TEXT["book.dictionary"])
        tables = [table for table in release.facts["tables"] if table["rows"]]
        held = [
            (table, *_sheet(book.add_worksheet(table["name"], TableSheet), release, table, styles)) for table in tables
        ]
        _contents(first, release, held, styles)
        _dictionary(dictionary, tables, styles)
    return path


def _styles(book: xlsxwriter.Workbook) -> dict[str, Format]:
    return {
        "title": book.add_format({"bold": True, "font_size": 14}),
        "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}),
        "prose": book.add_format({"text_wrap": True, "valign": "top"}),
        "whole": book.add_format({"num_format": "0"}),
        "share": book.add_format({"num_format": "0.0000"}),
        "number": book.add_format({"num_format": "0.00"}),
    }


def rows_held(release: Release, table: dict[str, Any]) -> tuple[pl.DataFrame, bool]:
    """The rows of a table's sheet, and whether the rows of single sites had to be left out.

    A row without a period is of all of them, or of files that have none, and stays.
    """
    columns = {column["name"] for column in table["columns"]}
    is_held = pl.lit(True)
    if "period" in columns:
        is_held = (pl.col("period") == release.periods[-1]) | pl.col("period").is_null()
    scanned = pl.scan_parquet(release.file_of(table["name"]), glob=False).filter(is_held)
    if table["rows"] <= MOST_ROWS or scanned.select(pl.len()).collect().item() <= MOST_ROWS:
        return scanned.collect(), False
    rows = release.overall(table["name"]).filter(is_held) if "site" in columns else scanned.collect()
    return rows.head(MOST_ROWS), True


def _sheet(
    sheet: TableSheet, release: Release, table: dict[str, Any], styles: dict[str, Format]
) -> tuple[int, bool]:
    rows, is_cut = rows_held(release, table)
    units = {column["name"]: column["unit"] for column in table["columns"]}
    styles_of_rows = []
    for place, name in enumerate(rows.columns):
        unit = units[name]
        sheet.write_string(0, place, name if unit in NO_UNIT else f"{name} ({unit})", styles["head"])
        sheet.set_column(place, place, _width(rows[name]))
        styles_of_rows.append(_style(rows[name].dtype, unit, styles))
    sheet.hold(rows, styles_of_rows)
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, rows.height, rows.width - 1)
    return rows.height, is_cut


def _style(kind: pl.DataType, unit: str, styles: dict[str, Format]) -> Format | None:
    if kind == pl.String:
        return None
    return styles["share" if unit == "1" else "number"] if kind.is_float() else styles["whole"]


def _width(values: pl.Series) -> int:
    if values.dtype == pl.String:
        return min(max(8, values.str.len_chars().max() or 0, len(values.name)), 40)
    return max(8, len(values.name) + 4)


def _contents(
    sheet: Worksheet,
    release: Release,
    held: list[tuple[dict[str, Any], int, bool]],
    styles: dict[str, Format],
) -> None:
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 90)
    sheet.set_column(2, 2, 10)
    sheet.write_string(0, 0, storable(release.facts["programme"]), styles["title"])
    last = period_title(release.periods[-1])
    words = [
        stamp(release),
        say("book.period", period=last),
        TEXT["book.empty"],
        TEXT["footer.caution"],
    ]
    for line, text in enumerate(words, start=1):
        sheet.merge_range(line, 0, line, 2, "", styles["prose"])
        sheet.write_string(line, 0, text, styles["prose"])
        sheet.set_row(line, 15 * (1 + len(text) // 125))
    top = len(words) + 2
    for place, name in enumerate(("book.table", "column.meaning", "book.rows")):
        sheet.write_string(top, place, TEXT[name], styles["head"])
    for line, (table, rows, is_cut) in enumerate(held, start=top + 1):
        cut = " " + say("book.cut", most=count(MOST_ROWS)) if is_cut else ""
        sheet.write_string(line, 0, table["name"], styles["prose"])
        sheet.write_string(line, 1, table["description"] + cut, styles["prose"])
        sheet.write_number(line, 2, rows, styles["whole"])


def _dictionary(sheet: Worksheet, tables: list[dict[str, Any]], styles: dict[str, Format]) -> None:
    heads = ("book.table", "column.column", "book.title", "column.unit", "column.meaning")
    for place, (name, width) in enumerate(zip(heads, (24, 20, 24, 10, 90), strict=True)):
        sheet.write_string(0, place, TEXT[name], styles["head"])
        sheet.set_column(place, place, width)
    lines = (
        (table["name"], column["name"], column["title"], column["unit"], column["description"])
        for table in tables
        for column in table["columns"]
    )
    for line, words in enumerate(lines, start=1):
        for place, text in enumerate(words):
            sheet.write_string(line, place, text, styles["prose"])
    sheet.freeze_panes(1, 0)
