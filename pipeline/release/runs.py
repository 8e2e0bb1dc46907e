"""How the periods of a table lie in it: in runs, each a stretch of rows of one period that stay together.

A table's rows stand in the order of its key, in which other columns come before the period: measure, site, period, …
So where two rows of one period have the same measure and site, all rows between them are of that period as well. A
period's rows in their own order are therefore the table's once they are cut into runs, and the table is a matter of
laying runs one after the other: a few thousand of them and not millions of rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.release.column import Table
from pipeline.release.row_order import row_order


@dataclass(frozen=True)
class Runs:
    """Shapes   all (runs,), in the table's order.

    part: the period whose rows they are, as its place among those given; first: the first of its rows, counted within
    the period; rows: how many.
    """

    part: np.ndarray
    first: np.ndarray
    rows: np.ndarray

    def places(self) -> np.ndarray:
        """Where each row of the table stands in the periods laid one after the other."""
        heights = np.bincount(self.part, self.rows).astype(np.int64)
        before = np.cumsum(heights) - heights
        away = before[self.part] + self.first - (np.cumsum(self.rows) - self.rows)
        return np.repeat(away, self.rows) + np.arange(self.rows.sum())


def leading_columns(table: Table) -> list[str]:
    """Those that tell runs apart: the key's, up to the period."""
    return list(table.key[: table.key.index("period") + 1])


def runs_of(table: Table, keys: Sequence[pl.DataFrame]) -> Runs:
    """Shapes   keys: leading_columns of each period's rows, which stand in the order of row_order; periods differ.

    Errors   ValueError where a period's rows do not stay together as told above.
    """
    told_by = leading_columns(table)
    leading = told_by[:-1]
    firsts = [_firsts(rows, leading) for rows in keys]
    heads = pl.concat([rows[first] for rows, first in zip(keys, firsts, strict=True)])
    if heads.select(told_by).is_duplicated().any():
        raise ValueError(f"table {table.name}: rows alike in {', '.join(leading)} and period do not stand together")
    part = np.repeat(np.arange(len(keys)), [first.size for first in firsts])
    counts = [np.diff(first, append=rows.height) for rows, first in zip(keys, firsts, strict=True)]
    first, rows = np.concatenate(firsts), np.concatenate(counts)
    order, _ = row_order(heads, tuple(told_by))
    return Runs(part, first, rows) if order is None else Runs(part[order], first[order], rows[order])


def _firsts(rows: pl.DataFrame, leading: list[str]) -> np.ndarray:
    """The rows that differ in a leading column from the one before, and the first of all."""
    if not rows.height:
        return np.zeros(0, np.int64)
    differs = [pl.col(name).ne_missing(pl.col(name).shift()) for name in leading]
    is_first = rows.select(pl.any_horizontal(pl.int_range(pl.len()) == 0, *differs)).to_series()
    return is_first.arg_true().to_numpy().astype(np.int64)
