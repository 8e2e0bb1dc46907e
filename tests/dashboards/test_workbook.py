"""The workbook of a release: every table's figures, as text and numbers and nothing that runs. Mechanics."""

from __future__ import annotations

import time
import zipfile

import polars as pl
import pytest
from fastexcel import read_excel

from dashboards import workbook
from dashboards.release import read_release


@pytest.fixture(scope="module")
def release(release_folder):
    return read_release(release_folder)


@pytest.fixture(scope="module")
def book(release_folder):
    return read_excel(release_folder / "tables.xlsx")


def test_a_sheet_for_each_table_with_rows_after_contents_and_dictionary(book, release):
    tables = [table["name"] for table in release.facts["tables"] if table["rows"]]
    assert book.sheet_names == ["Contents", "Dictionary", *tables]


def sheet_of(book, name):
    """A sheet under its columns' names alone, without the units beside them."""
    return book.load_sheet(name).to_polars().rename(lambda head: head.partition(" (")[0])


def test_figures_are_those_of_the_latest_period(book, release):
    rows = pl.read_parquet(release.file_of("prevalence")).filter(pl.col("period") == release.periods[-1])
    sheet = sheet_of(book, "prevalence")
    assert sheet.height == rows.height
    shown = sheet["proportion"].cast(pl.Float64)
    assert shown.is_null().equals(rows["proportion"].is_null(), check_names=False)
    assert (shown - rows["proportion"]).abs().max() < 1e-12  # a workbook writes sixteen digits
    assert sheet["n"].cast(pl.Int64).equals(rows["n"].cast(pl.Int64), check_names=False)


def test_rows_of_all_periods_stay(release):
    table = next(table for table in release.facts["tables"] if table["name"] == "instrument_check")
    rows, _ = workbook.rows_held(release, table)
    whole = pl.read_parquet(release.file_of("instrument_check"))
    assert rows["period"].null_count() == whole["period"].null_count() > 0


def test_a_head_carries_the_unit_of_its_column(book):
    heads = book.load_sheet("prevalence").to_polars().columns
    assert "proportion (1)" in heads and "flag" in heads


def test_a_withheld_figure_is_an_empty_cell(book):
    sheet = sheet_of(book, "prevalence").filter(pl.col("flag") == "withheld")
    assert sheet.height
    assert sheet["n"].null_count() == sheet.height


def test_the_dictionary_has_every_column_of_every_table(book, release):
    rows = book.load_sheet("Dictionary").to_polars()
    tables = [table for table in release.facts["tables"] if table["rows"]]
    expected = [(t["name"], c["name"], c["description"]) for t in tables for c in t["columns"]]
    assert rows.select("Table", "Column", "Meaning").rows() == expected


def test_nothing_in_it_is_a_formula_or_a_link(release_folder):
    with zipfile.ZipFile(release_folder / "tables.xlsx") as parts:
        sheets = [parts.read(name).decode() for name in parts.namelist() if "worksheets/sheet" in name]
    assert sheets
    assert not any("<f>" in sheet or "<hyperlink" in sheet for sheet in sheets)
    assert all('state="frozen"' in sheet for sheet in sheets[1:])


def test_text_that_looks_like_a_formula_stays_text(release, tmp_path, monkeypatch):
    monkeypatch.setitem(release.facts, "programme", '=HYPERLINK("x","y")')
    monkeypatch.setattr("dashboards.workbook.FILE", "other.xlsx")
    path = workbook.write_workbook(release)
    try:
        contents = read_excel(path).load_sheet("Contents", header_row=None).to_polars()
        with zipfile.ZipFile(path) as parts:
            assert b"<f>" not in parts.read("xl/worksheets/sheet1.xml")
    finally:
        path.unlink()
    assert contents.item(0, 0) == '=HYPERLINK("x","y")'


def test_a_programme_named_like_markup_does_not_break_the_workbook(release, monkeypatch):
    monkeypatch.setitem(release.facts, "programme", "<r>&</r>")
    monkeypatch.setattr("dashboards.workbook.FILE", "other.xlsx")
    path = workbook.write_workbook(release)
    try:
        contents = read_excel(path).load_sheet("Contents", header_row=None).to_polars()
    finally:
        path.unlink()
    assert contents.item(0, 0).strip() == "<r>&</r>"


def test_the_same_release_gives_the_same_bytes(release, release_folder):
    before = (release_folder / "tables.xlsx").read_bytes()
    time.sleep(2.1)  # a zip's clock ticks every two seconds
    assert workbook.write_workbook(release).read_bytes() == before


def test_a_table_too_long_for_a_sheet_keeps_the_rows_of_all_sites(release, monkeypatch):
    table = next(table for table in release.facts["tables"] if table["name"] == "prevalence")
    whole, is_cut = workbook.rows_held(release, table)
    assert not is_cut and whole["site"].is_not_null().any()
    monkeypatch.setattr(workbook, "MOST_ROWS", whole.height - 1)
    rows, is_cut = workbook.rows_held(release, table)
    assert is_cut and 0 < rows.height < whole.height
    assert rows["site"].is_null().all()
