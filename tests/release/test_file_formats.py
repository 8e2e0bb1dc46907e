"""CSV and Parquet hold the same rows; CSV is read here with the standard library, which knows nothing of Polars."""

from __future__ import annotations

import csv
import io

import polars as pl
import pytest

from pipeline.release.csv_file import csv_bytes
from pipeline.release.parquet_file import parquet_bytes

ROWS = pl.DataFrame(
    {
        "word": ["plain", "comma, inside", 'a "quote"', "two\nlines", "Größe", None, ""],
        "n": [1, 0, None, 3, 4, 5, -6],
        "share": [0.5, 1e-7, None, 1.0, 0.1, 2.5, -0.25],
    }
)


def test_a_csv_read_by_the_standard_library_gives_the_rows_back():
    text = csv_bytes(ROWS).decode("utf-8")
    header, *rows = csv.reader(io.StringIO(text, newline=""))
    assert header == ROWS.columns
    assert [row[0] for row in rows] == ["plain", "comma, inside", 'a "quote"', "two\nlines", "Größe", "", ""]
    assert [float(row[2]) if row[2] else None for row in rows] == ROWS["share"].to_list()
    assert [int(row[1]) if row[1] else None for row in rows] == ROWS["n"].to_list()


def test_a_csv_has_no_byte_order_mark_ends_lines_in_newline_and_quotes_only_what_needs_it():
    content = csv_bytes(ROWS)
    assert content.startswith(b"word,n,share\nplain,1,0.5\n")
    assert b"\r" not in content and content.endswith(b"\n")
    assert b'"comma, inside",0,1e-7\n"a ""quote""",,\n' in content


def test_missing_and_empty_text_differ():
    assert csv_bytes(ROWS).endswith(b',5,2.5\n"",-6,-0.25\n')


@pytest.mark.parametrize("opener", ["=", "+", "-", "@", "\t", "\r"])
def test_a_text_that_opens_like_a_formula_is_guarded_and_a_negative_number_is_not(opener):
    content = csv_bytes(pl.DataFrame({"name": [f"{opener}cmd", f"a{opener}"], "n": [-1, -2]}))
    _, first, second = csv.reader(io.StringIO(content.decode(), newline=""))
    assert first == [f"'{opener}cmd", "-1"]
    assert second == [f"a{opener}", "-2"]


def test_parquet_gives_rows_and_types_back_and_the_same_bytes_twice():
    content = parquet_bytes(ROWS)
    assert pl.read_parquet(io.BytesIO(content)).equals(ROWS)
    assert parquet_bytes(ROWS.slice(0, 3).vstack(ROWS.slice(3))) == content


def test_a_table_without_rows_is_written_too():
    assert csv_bytes(ROWS.clear()) == b"word,n,share\n"
    assert pl.read_parquet(io.BytesIO(parquet_bytes(ROWS.clear()))).schema == ROWS.schema
