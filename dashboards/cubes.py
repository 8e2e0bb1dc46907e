"""Long published tables → dense arrays that a page can carry and its script can walk without searching."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from math import prod
from typing import Any

import polars as pl

NO_ROW, PUBLISHED, WITHHELD, UNRELIABLE = "-", ".", "w", "u"
_STATE, _CELL = "state of the row", "cell of the row"  # no figure has such a name


@dataclass(frozen=True)
class Dimension:
    """One axis: its keys in reading order and what each is called."""

    name: str
    keys: tuple[str, ...]
    labels: tuple[str, ...]

    @cached_property
    def places(self) -> Mapping[str, int]:
        return {key: place for place, key in enumerate(self.keys)}

    def label(self, key: str) -> str:
        return self.labels[self.places[key]]


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
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> dict[str, Dimension]:
        return {dimension.name: dimension for dimension in self.dimensions}

    def cell(self, at: Mapping[str, str]) -> dict[str, Any]:
        """The figures of one cell: {"state": letter, column: steps or None, …}; off an axis is NO_ROW.

        A page's controls can offer more than one of its cubes holds: sites are compared for fewer periods.
        """
        index = 0
        for dimension in self.dimensions:
            place = dimension.places.get(at[dimension.name])
            if place is None:
                return {"state": NO_ROW, **dict.fromkeys(self.columns)}
            index = index * len(dimension.keys) + place
        return self._cell(index)

    def _cell(self, index: int) -> dict[str, Any]:
        return {"state": self.states[index], **{name: values[index] for name, values in self.columns.items()}}

    def walk(
        self, along: Sequence[str], at: Mapping[str, str]
    ) -> Iterator[tuple[dict[str, str], dict[str, Any]]]:
        """Cells along some dimensions while the others stay at `at`: (keys, figures) in reading order."""
        steps, others = self._steps, [axis for axis in self.dimensions if axis.name not in along]
        axes = [self.dimension(name).keys for name in along]
        if any(at[axis.name] not in axis.places for axis in others):
            for keys in product(*axes):
                yield dict(zip(along, keys, strict=True)), {"state": NO_ROW, **dict.fromkeys(self.columns)}
            return
        start = sum([steps[axis.name] * axis.places[at[axis.name]] for axis in others])
        if len(along) == 1:  # as nearly always
            (name,), step = along, steps[along[0]]
            for place, key in enumerate(axes[0]):
                yield {name: key}, self._cell(start + step * place)
            return
        strides = [
            range(0, steps[name] * len(keys), steps[name]) for name, keys in zip(along, axes, strict=True)
        ]
        for keys, away in zip(product(*axes), product(*strides), strict=True):
            yield dict(zip(along, keys, strict=True)), self._cell(start + sum(away))

    @cached_property
    def _steps(self) -> dict[str, int]:
        """How many cells apart two neighbours along each dimension lie."""
        lengths = [len(axis.keys) for axis in self.dimensions]
        return {axis.name: prod(lengths[place + 1 :]) for place, axis in enumerate(self.dimensions)}

    def narrowed(self, axis: Dimension) -> Cube:
        """The cells along some keys of a dimension: `axis` has its name, the keys and what they are called now."""
        whole = self.dimension(axis.name)
        step, places = self._steps[axis.name], [whole.places[key] for key in axis.keys]
        cells = [
            start + step * place + i
            for start in range(0, len(self.states), step * len(whole.keys))
            for place in places
            for i in range(step)
        ]
        return Cube(
            tuple(axis if dimension is whole else dimension for dimension in self.dimensions),
            {name: [values[cell] for cell in cells] for name, values in self.columns.items()},
            self.decimals,
            "".join([self.states[cell] for cell in cells]),
        )

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
    size = prod(len(d.keys) for d in dimensions)
    index = pl.lit(0, dtype=pl.Int64)
    for dimension in dimensions:
        place = pl.col(dimension.name).replace_strict(dimension.places, default=None, return_dtype=pl.Int64)
        index = index * len(dimension.keys) + place
    hidden = (pl.col("flag") == "withheld").fill_null(False)
    state = (
        pl.when(hidden)
        .then(pl.lit(WITHHELD))
        .when(pl.col("flag") == "unreliable")
        .then(pl.lit(UNRELIABLE))
        .otherwise(pl.lit(PUBLISHED))
    )
    # one query for all of it: each costs more than its few rows
    read = frame.select(
        index.alias(_CELL),
        state.alias(_STATE),
        *(_steps(column, hidden).alias(name) for name, column in columns.items()),
    )
    cells = read[_CELL].to_list()
    there = [cell for cell in cells if cell is not None]
    if len(set(there)) < len(there):
        first = frame.row(cells.index(next(cell for cell in there if there.count(cell) > 1)), named=True)
        raise ValueError(f"two rows for one cell: { ({d.name: first[d.name] for d in dimensions}) }")
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


def _scattered(values: pl.Series, cells: list[int | None], size: int, elsewhere: str | None) -> list[Any]:
    """The values at their cells, and what stands in all others; a row off the axes has no cell."""
    laid = [elsewhere] * size
    for cell, value in zip(cells, values.to_list(), strict=True):
        if cell is not None:
            laid[cell] = value
    return laid
