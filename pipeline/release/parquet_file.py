"""A published table as Parquet: the same rows as the CSV, with their types."""

from __future__ import annotations

import io
from pathlib import Path

import polars as pl

_TYPES = "ARROW:schema"  # where Polars writes down of which types the columns were
_ROWS_A_GROUP = 1 << 18  # what is encoded at once: all of ten million at once takes an eighth longer
_HOW = {"compression": "zstd", "compression_level": 3, "statistics": False, "row_group_size": _ROWS_A_GROUP}


def write_parquet(rows: pl.DataFrame, path: Path) -> None:
    """Write the table as a Parquet file. Texts may come as categories: the file is the same, byte for byte.

    Either way a column of texts is written as the texts that there are and the place of each row among these. A
    category has that at hand, where of texts it has to be found row by row. So only the note differs of which type the
    column was, and that is given as of texts.
    The same rows give the same bytes with the same version of Polars, in however many pieces they lie in memory; its
    name stands in the file's footer.
    Column statistics are left out, as a page needs none; withheld figures are null before they come here.
    """
    if pl.Categorical in rows.dtypes:
        rows.write_parquet(path, **_HOW, metadata={_TYPES: _types_with_texts(rows)})
    else:
        rows.write_parquet(path, **_HOW)


def _types_with_texts(rows: pl.DataFrame) -> str:
    buffer = io.BytesIO()
    rows.clear().cast({pl.Categorical: pl.String}).write_parquet(buffer, **_HOW)
    buffer.seek(0)
    return pl.read_parquet_metadata(buffer)[_TYPES]
