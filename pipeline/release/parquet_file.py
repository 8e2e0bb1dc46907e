"""A published table as Parquet: the same rows as the CSV, with their types."""

from __future__ import annotations

from pathlib import Path

import polars as pl


def write_parquet(rows: pl.DataFrame, path: Path) -> None:
    """Write the table as a Parquet file.

    The same rows give the same bytes with the same version of Polars: its name stands in the file's footer.
    Column statistics are left out, as a page needs none; withheld figures are null before they come here.
    """
    rows.rechunk().write_parquet(
        path, compression="zstd", compression_level=3, statistics=False, row_group_size=max(rows.height, 1)
    )
