"""What a statistic leaves open (nan) is null in the store: SQL and the release know one missing value."""

from __future__ import annotations

import polars as pl
import polars.selectors as cs


def without_nan(frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with null for every nan and infinity."""
    floats = cs.float()
    return frame.with_columns(pl.when(floats.is_finite()).then(floats))
