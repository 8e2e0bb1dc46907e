"""A published table as CSV: UTF-8, comma, `\\n`, quoted where RFC 4180 asks for it, empty for missing."""

from __future__ import annotations

import io

import polars as pl

# A spreadsheet takes a text cell that opens with one of these for a formula, and runs it.
FORMULA_OPENERS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # wide ones where such are written


def csv_bytes(rows: pl.DataFrame) -> bytes:
    """The table as the bytes of a CSV file; the same rows give the same bytes.

    Missing  null is an empty field, an empty text is a quoted empty one.
    Errors   none of its own. A text cell that opens like a formula is given an apostrophe in front; numbers,
             which may be negative, are written as they are.
    Source   RFC 4180 (2005), but lines end in `\\n` alone: readers take both, and so do version control tools.
    """
    buffer = io.BytesIO()
    guarded = rows.with_columns(
        _guarded(pl.col(name)) for name, kind in rows.schema.items() if kind == pl.String
    )
    guarded.write_csv(buffer, line_terminator="\n", quote_style="necessary", null_value="")
    return buffer.getvalue()


def _guarded(text: pl.Expr) -> pl.Expr:
    return (
        pl.when(text.str.head(1).is_in(FORMULA_OPENERS)).then(pl.lit("'") + text).otherwise(text).name.keep()
    )
