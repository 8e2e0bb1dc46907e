"""CSV and TSV the fast way: DuckDB's strict reader, for files in which one line is one row.

Nothing is detected here: delimiter, quote, columns and encoding are given, and any line that does not fit makes
DuckDB refuse, which is the sign for readers/delimited_tolerant.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import duckdb

from pipeline.intake import received
from pipeline.programme import Profile
from pipeline.store import Store

NO_NULL = "\x01"  # an empty cell stays '', no text of a file is this mark


def read(
    store: Store, path: Path, profile: Profile, places: Mapping[str, int], width: int, *, lines: int
) -> bool:
    """Fill `received` from a UTF-8 file; False (and `received` without it) where only the tolerant way is exact.

    `lines` are the file's physical lines: where rows and header do not add up to them there is a blank line or
    a line end within quotes, and the line of a row could not be told from its place.
    """
    fields = {place: field for field, place in places.items()}
    columns = {fields.get(place, f"_{place}"): "VARCHAR" for place in range(width)}
    if len(fields) < len(places):  # two fields are read from one column
        return False
    try:
        store.execute_file(
            "06_received_from_delimited.sql",
            path=str(path),
            columns=columns,
            delimiter=profile.separator,
            quote=profile.quote,
            header_row=profile.header_row,
            no_null=NO_NULL,
        )
    except (duckdb.InvalidInputException, duckdb.ConversionException):
        received.begin(store)
        return False
    rows, perhaps_blank = store.rows(
        "select count(*), count(*) filter (where concat(participant, measured_on, weight) = '') "
        "from received where file = getvariable('place')"
    )[0]
    if rows + profile.header_row != lines or (perhaps_blank and _is_any_blank(store)):
        received.begin(store)
        return False
    return True


def _is_any_blank(store: Store) -> bool:
    """Asked of all columns, which is dearer, and only where some are blank."""
    return store.value(
        "select count(*) > 0 from received where file = getvariable('place')"
        " and concat(columns(* exclude (file, line))) = ''"
    )
