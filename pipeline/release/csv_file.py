"""A published table as CSV: UTF-8, comma, `\\n`, quoted where RFC 4180 asks for it, empty for missing."""

from __future__ import annotations

import io
from collections.abc import Iterator

import polars as pl

# A spreadsheet takes a text cell that opens with one of these for a formula, and runs it.
FORMULA_OPENERS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # wide ones where such are written
_ROWS_AT_ONCE = 1 << 17  # some 15 MB of text: a table of 200 sites is 600


def csv_pieces(rows: pl.DataFrame) -> Iterator[bytes]:
    """The table as the bytes of a CSV file, a piece at a time; the same rows give the same bytes.

    Texts may come as categories. A piece holds whole lines.
    Missing  null is an empty field, an empty text is a quoted empty one.
    Errors   none of its own. A text cell that opens like a formula is given an apostrophe in front; numbers,
             which may be negative, are written as they are.
    Source   RFC 4180 (2005), but lines end in `\\n` alone: readers take both, and so do version control tools.
    """
    texts = [name for name, kind in rows.schema.items() if kind in (pl.String, pl.Categorical)]
    dangerous = {name: _openers(rows[name]) for name in texts}
    guards = [
        pl.col(name).cast(pl.String).replace({word: f"'{word}" for word in words})
        for name, words in dangerous.items()
        if words
    ]
    for start in range(0, max(rows.height, 1), _ROWS_AT_ONCE):
        piece = rows.slice(start, _ROWS_AT_ONCE).with_columns(guards)
        buffer = io.BytesIO()
        piece.write_csv(
            buffer, include_header=start == 0, line_terminator="\n", quote_style="necessary", null_value=""
        )
        yield buffer.getvalue()


def _openers(texts: pl.Series) -> list[str]:
    """The distinct texts that open like a formula: usually none, so that no cell is touched."""
    distinct = texts.unique().cast(pl.String)
    return distinct.filter(distinct.str.head(1).is_in(FORMULA_OPENERS)).to_list()
