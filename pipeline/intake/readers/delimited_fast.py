"""CSV and TSV the fast way: DuckDB's strict reader, for files in which one line is one row.

Nothing is detected here: delimiter, quote, columns and encoding are given, and any line that does not fit makes
DuckDB refuse, which is the sign for readers/delimited_tolerant.py. Files that are written alike are read in one
statement: of a small file most of what its reading takes is planning it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipeline.intake import received
from pipeline.programme import Profile
from pipeline.store import Store, literal, sql_text

NO_NULL = "\x01"  # an empty cell stays '', no text of a file is this mark
_PLAIN_FILE = {"path": pl.String, "file": pl.Int32, "lines": pl.Int64, "rows_before": pl.Int64}


@dataclass(frozen=True)
class Layout:
    """How the lines of a file are written."""

    columns: tuple[str, ...]  # each by its field, or by its place with a leading _ where it is put to no use
    delimiter: str
    quote: str
    header_row: int


@dataclass(frozen=True)
class PlainLines:
    """A UTF-8 file of which each line below the header should be a row.

    `lines` are the file's physical lines: where rows and header do not add up to them there is a blank line or
    a line end within quotes, and the line of a row could not be told from its place.
    """

    path: Path
    layout: Layout
    lines: int


def plain_lines(
    path: Path, profile: Profile, places: Mapping[str, int], width: int, *, lines: int
) -> PlainLines | None:
    """None where two fields are read from one column, or where DuckDB cannot be told the file's name."""
    fields = {place: field for field, place in places.items()}
    if len(fields) < len(places) or literal(path) is None:
        return None
    columns = tuple(fields.get(place, f"_{place}") for place in range(width))
    return PlainLines(path, Layout(columns, profile.separator, profile.quote, profile.header_row), lines)


def read(store: Store, files: Mapping[int, PlainLines]) -> set[int]:
    """Fill `received` from files, each under its place in the pass; returns the places of those that were read.

    Of the others, which only the tolerant way reads exactly, nothing stays; they may be some that are exact by
    themselves.
    """
    done: set[int] = set()
    for layout, alike in _written_alike(files):
        try:
            with store.lent("plain_file", _table(layout, alike)):
                store.execute_file(
                    "06_received_from_delimited.sql",
                    paths=[literal(file.path) for file in alike.values()],
                    columns=dict.fromkeys(layout.columns, "VARCHAR"),
                    delimiter=layout.delimiter,
                    quote=layout.quote,
                    header_row=layout.header_row,
                    no_null=NO_NULL,
                )
                below = {"header_row": layout.header_row}
                inexact = {file for (file,) in store.rows(sql_text("07_inexact_file.sql"), below)}
        except (duckdb.InvalidInputException, duckdb.ConversionException):
            continue
        for place in inexact:
            received.turn_to(store, place)
            received.begin(store)
        done |= alike.keys() - inexact
    return done


def _written_alike(files: Mapping[int, PlainLines]) -> Iterator[tuple[Layout, dict[int, PlainLines]]]:
    """Files of one layout and of different paths: two sites may have sent the same bytes, of which one copy is kept."""
    groups: dict[tuple[Layout, int], dict[int, PlainLines]] = defaultdict(dict)
    met: dict[Path, int] = defaultdict(int)
    for place, file in files.items():
        groups[file.layout, met[file.path]][place] = file
        met[file.path] += 1
    for (layout, _), alike in groups.items():
        yield layout, alike


def _table(layout: Layout, files: Mapping[int, PlainLines]) -> pl.DataFrame:
    rows, before = [], 0
    for place, file in files.items():
        rows.append((str(file.path), place, file.lines, before))
        before += file.lines - layout.header_row
    return pl.DataFrame(rows, schema=_PLAIN_FILE, orient="row")
