"""Long published tables → dense arrays that a page can carry and its script can walk without searching."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product, repeat
from math import prod
from typing import Any, TypeVar

import polars as pl

T = TypeVar("T")
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

    def along(self, name: str, at: Mapping[str, str], *columns: str) -> Iterator[tuple[Any, ...]]:
        """(state, steps or None of each of `columns`) of the cells along one dimension while the others stay at `at`,
        in reading order: what `walk` gives without its names, for sentences that are made by the ten thousand."""
        axis, start = self.dimension(name), 0
        for other in self.dimensions:
            if other is axis:
                continue
            place = other.places.get(at[other.name])
            if place is None:
                return repeat((NO_ROW, *[None for _ in columns]), len(axis.keys))
            start += place * self._steps[other.name]
        line = slice(start, start + self._steps[name] * len(axis.keys), self._steps[name])
        return zip(self.states[line], *[self.columns[column][line] for column in columns], strict=True)

    def line(self, name: str, at: Mapping[str, str], *columns: str) -> list[dict[str, Any]]:
        """As `along`, each cell with its names: {"state": letter, column: steps or None, …}; all columns if none is
        named."""
        names = ("state", *(columns or self.columns))
        return [dict(zip(names, cell)) for cell in self.along(name, at, *names[1:])]  # noqa: B905 (as many of each)

    def walk(
        self, along: Sequence[str], at: Mapping[str, str]
    ) -> Iterator[tuple[dict[str, str], dict[str, Any]]]:
        """Cells along some dimensions while the others stay at `at`: (keys, figures) in reading order."""
        *first, last = along
        for keys in product(*[self.dimension(name).keys for name in first]):
            here = dict(zip(first, keys, strict=True))
            cells = self.line(last, {**at, **here})
            for key, cell in zip(self.dimension(last).keys, cells, strict=True):
                yield {**here, last: key}, cell

    @cached_property
    def _steps(self) -> dict[str, int]:
        """How many cells apart two neighbours along each dimension lie."""
        lengths = [len(axis.keys) for axis in self.dimensions]
        return {axis.name: prod(lengths[place + 1 :]) for place, axis in enumerate(self.dimensions)}

    def narrowed(self, axis: Dimension) -> Cube:
        """The cells along some keys of a dimension: `axis` has its name, the keys and what they are called now."""
        whole = self.dimension(axis.name)
        step, places = self._steps[axis.name], [whole.places[key] for key in axis.keys]
        starts = [step * place + i for place in places for i in range(step)]

        def few(values: Sequence[T]) -> list[T]:
            """Cells that start together stay equally far apart: in one stride each, however many there are."""
            laid = list(values[: len(values) // len(whole.keys) * len(places)])
            for at, start in enumerate(starts):
                laid[at :: len(starts)] = values[start :: step * len(whole.keys)]
            return laid

        return Cube(
            tuple(axis if dimension is whole else dimension for dimension in self.dimensions),
            {name: few(values) for name, values in self.columns.items()},
            self.decimals,
            "".join(few(self.states)),
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
    index = pl.lit(0, dtype=pl.Int64)
    for dimension in dimensions:
        place = pl.col(dimension.name).cast(pl.Enum(dimension.keys), strict=False).to_physical().cast(pl.Int64)
        index = index * len(dimension.keys) + place
    state = (
        pl.when(pl.col("flag") == "withheld")
        .then(pl.lit(WITHHELD))
        .when(pl.col("flag") == "unreliable")
        .then(pl.lit(UNRELIABLE))
        .otherwise(pl.lit(PUBLISHED))
    )
    # one query for all of it: each costs more than its few rows
    figures = [_steps(column, frame.schema[column.source]).alias(name) for name, column in columns.items()]
    read = frame.select(index.alias(_CELL), state.alias(_STATE), *figures)
    size = prod(len(d.keys) for d in dimensions)
    states, row_of = [NO_ROW] * size, [None] * size
    for row, (cell, letter) in enumerate(zip(read[_CELL].to_list(), read[_STATE].to_list(), strict=True)):
        if cell is None:  # off the axes
            continue
        if states[cell] != NO_ROW:
            again = frame.row(row, named=True)
            raise ValueError(f"two rows for one cell: { ({d.name: again[d.name] for d in dimensions}) }")
        states[cell] = letter
        if letter != WITHHELD:
            row_of[cell] = row
    laid = read.select(pl.col(*columns).gather(pl.Series(row_of, dtype=pl.UInt32)))
    decimals = {name: column.decimals for name, column in columns.items()}
    return Cube(tuple(dimensions), {name: laid[name].to_list() for name in columns}, decimals, "".join(states))


def _steps(column: Column, kind: pl.DataType) -> pl.Expr:
    """A source column in steps (halves up); what is no number is missing."""
    if kind.is_integer():
        return pl.col(column.source) * column.steps_per_unit
    return (pl.col(column.source) * column.steps_per_unit + 0.5).floor().cast(pl.Int64, strict=False)
