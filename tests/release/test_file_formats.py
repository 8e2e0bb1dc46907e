"""CSV and Parquet hold the same rows; CSV is read here with the standard library, which knows nothing of Polars."""

from __future__ import annotations

import csv
import io

import polars as pl
import pytest

from pipeline.release import csv_file
from pipeline.release.csv_file import csv_pieces
from pipeline.release.parquet_file import write_parquet

ROWS = pl.DataFrame(
    {
        "word": ["plain", "comma, inside", 'a "quote"', "two\nlines", "Größe", None, ""],
        "n": [1, 0, None, 3, 4, 5, -6],
        "share": [0.5, 1e-7, None, 1.0, 0.1, 2.5, -0.25],
    }
)


def csv_bytes(rows: pl.DataFrame) -> bytes:
    return b"".join(csv_pieces(rows))


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


@pytest.mark.parametrize("most", [1, 3, 7, 8])
def test_a_csv_in_pieces_is_the_same_as_whole(most, monkeypatch):
    rows = pl.concat([ROWS, pl.DataFrame({"word": ["=1"], "n": [-1], "share": [0.0]})])
    whole = csv_bytes(rows)
    monkeypatch.setattr(csv_file, "_ROWS_AT_ONCE", most)
    pieces = list(csv_pieces(rows))
    assert len(pieces) == -(-8 // most) and b"".join(pieces) == whole


def test_parquet_gives_rows_and_types_back_and_the_same_bytes_twice(tmp_path):
    one, other = tmp_path / "one.parquet", tmp_path / "other.parquet"
    write_parquet(ROWS, one)
    assert pl.read_parquet(one).equals(ROWS)
    write_parquet(ROWS.slice(0, 3).vstack(ROWS.slice(3)), other)
    assert other.read_bytes() == one.read_bytes()


def test_a_table_without_rows_is_written_too(tmp_path):
    assert csv_bytes(ROWS.clear()) == b"word,n,share\n"
    write_parquet(ROWS.clear(), tmp_path / "none.parquet")
    assert pl.read_parquet(tmp_path / "none.parquet").schema == ROWS.schema
