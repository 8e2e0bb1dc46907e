"""Long published tables → dense arrays that a page can carry and its script can walk without searching."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np
import polars as pl

NO_ROW, PUBLISHED, WITHHELD, UNRELIABLE = "-", ".", "w", "u"
_STATE = "state of the row"  # no figure has such a name


@dataclass(frozen=True)
class Dimension:
    """One axis: its keys in reading order and what each is called."""

    name: str
    keys: tuple[str, ...]
    labels: tuple[str, ...]

    def label(self, key: str) -> str:
        return self.labels[self.keys.index(key)]


@dataclass(frozen=True)
class Column:
    """One figure of a cell: its source column, steps a unit of that column, decimals when written.

    A proportion is written in per cent with one decimal: 1000 steps a unit, 1 decimal.
    """

    source: str
    steps_per_unit: int = 1
    decimals: int = 0


@dataclass(frozen=True)
class Cube:
    """dimensions[0] × dimensions[1] × …, row-major; `states` holds one letter a cell, figures are steps or None."""

    dimensions: tuple[Dimension, ...]
    columns: dict[str, list[int | None]] = field(repr=False)
    decimals: dict[str, int] = field(repr=False)
    states: str = field(repr=False)

    def dimension(self, name: str) -> Dimension:
        return next(d for d in self.dimensions if d.name == name)

    def cell(self, at: Mapping[str, str]) -> dict[str, Any]:
        """The figures of one cell: {"state": letter, column: steps or None, …}; off an axis is NO_ROW.

        A page's controls can offer more than one of its cubes holds: sites are compared for fewer periods.
        """
        if any(at[dimension.name] not in dimension.keys for dimension in self.dimensions):
            return {"state": NO_ROW, **dict.fromkeys(self.columns)}
        index = 0
        for dimension in self.dimensions:
            index = index * len(dimension.keys) + dimension.keys.index(at[dimension.name])
        return {"state": self.states[index], **{name: values[index] for name, values in self.columns.items()}}

    def walk(
        self, along: Sequence[str], at: Mapping[str, str]
    ) -> Iterator[tuple[dict[str, str], dict[str, Any]]]:
        """Cells along some dimensions while the others stay at `at`: (keys, figures) in reading order."""
        axes = [self.dimension(name).keys for name in along]
        for keys in product(*axes):
            here = dict(zip(along, keys, strict=True))
            yield here, self.cell({**at, **here})

    def as_json(self) -> dict[str, Any]:
        return {
            "dimensions": [{"name": d.name, "keys": d.keys, "labels": d.labels} for d in self.dimensions],
            "columns": self.columns,
            "decimals": self.decimals,
            "states": self.states,
        }


def cube(frame: pl.DataFrame, dimensions: Sequence[Dimension], columns: Mapping[str, Column]) -> Cube:
    """Rows of a published table laid out along `dimensions`.

    Shapes   frame: one row a figure, with a text column named after each dimension, `flag` and the source columns.
    Missing  a cell without a row is NO_ROW; a withheld one has no figures, whatever the file holds.
    Errors   ValueError when two rows fall on one cell.
    """
    shape = [len(d.keys) for d in dimensions]
    index = pl.lit(0, dtype=pl.Int64)
    for dimension in dimensions:
        place = pl.col(dimension.name).replace_strict(
            {key: i for i, key in enumerate(dimension.keys)}, default=None, return_dtype=pl.Int64
        )
        index = index * len(dimension.keys) + place
    rows = frame.with_columns(cell=index).filter(pl.col("cell").is_not_null())
    if rows["cell"].is_duplicated().any():
        first = rows.filter(pl.col("cell").is_duplicated()).row(0, named=True)
        raise ValueError(f"two rows for one cell: { ({d.name: first[d.name] for d in dimensions}) }")
    size, cells = int(np.prod(shape)), rows["cell"].to_numpy()
    hidden = (pl.col("flag") == "withheld").fill_null(False)
    state = (
        pl.when(hidden)
        .then(pl.lit(WITHHELD))
        .when(pl.col("flag") == "unreliable")
        .then(pl.lit(UNRELIABLE))
        .otherwise(pl.lit(PUBLISHED))
    )
    # one query for all of it: each costs more than its few rows
    read = rows.select(
        state.alias(_STATE), *(_steps(column, hidden).alias(name) for name, column in columns.items())
    )
    figures = {name: _scattered(read[name], cells, size, None) for name in columns}
    decimals = {name: column.decimals for name, column in columns.items()}
    return Cube(tuple(dimensions), figures, decimals, "".join(_scattered(read[_STATE], cells, size, NO_ROW)))


def _steps(column: Column, hidden: pl.Expr) -> pl.Expr:
    """A source column in steps (halves up); nothing where it is withheld."""
    whole = (
        (pl.col(column.source) * column.steps_per_unit + 0.5).floor()
        if column.steps_per_unit != 1
        else (pl.col(column.source) + 0.5).floor()
    )
    return pl.when(hidden).then(None).otherwise(whole).fill_nan(None).cast(pl.Int64)


def _scattered(values: pl.Series, cells: np.ndarray, size: int, elsewhere: str | None) -> list[Any]:
    """The values at their cells, and what stands in all others."""
    laid = [elsewhere] * size
    for cell, value in zip(cells.tolist(), values.to_list(), strict=True):
        laid[cell] = value
    return laid
