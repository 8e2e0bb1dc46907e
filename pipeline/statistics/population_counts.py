"""Value tallies, or people's values → the value counts of every published population.

Everything is a whole number in NumPy: strings as keys of joins and sorts took most of the time of a run.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import SEXES, AgeGroups, group_table, groups_reported, pieces
from pipeline.statistics.value_count import ValueCounts

Integers = NDArray[np.int64]

_AGES = 256  # single years that a number of sex and age has room for


def counts_of_tally(
    value_tally: pl.DataFrame, measures: Sequence[Measure], age_groups: AgeGroups
) -> tuple[pl.DataFrame, ValueCounts]:
    """The populations (measure × site × period × group) that hold anybody, in published order, and their value counts.

    Shapes   value_tally: as percentiles_of; populations: measure, unit, steps_per_unit, site, period, sex, age_from,
             age_to.
    Errors   ValueError for a sex other than female and male.
    """
    strangers = set(value_tally["sex"].unique().to_list()) - set(SEXES)
    if strangers:
        raise ValueError(f"sex {sorted(strangers, key=str)[0]} in a tally; the sexes are {', '.join(SEXES)}")
    layout, places = _Layout.of(tuple(measures), tuple(age_groups)), _Places.of(value_tally)
    measure = _codes(value_tally["measure"], [measure.name for measure in measures])
    sex = _codes(value_tally["sex"], SEXES)
    age, value, n = (value_tally[name].cast(pl.Int64).to_numpy() for name in ("age", "value", "n"))
    found = []
    for number, one in enumerate(measures):
        of_it = (measure == number) & (n > 0)
        place, piece = places.place[of_it], layout.piece_of(one, sex[of_it], age[of_it])
        is_in = piece >= 0
        cells = (place[is_in], piece[is_in], value[of_it][is_in])
        found.append(_sorted_cells(number, places.number, layout.pieces, *cells, n[of_it][is_in]))
    return _by_population(layout, places, found)


def counts_of_people(
    people: pl.DataFrame, period: str, measures: Sequence[Measure], age_groups: AgeGroups
) -> tuple[pl.DataFrame, ValueCounts]:
    """counts_of_tally of the tally that people of a period make, without making it: most values are one person's.

    Shapes   people: one row a person, columns site, sex, age, and one a measure, by its name, in whole print steps.
    Missing  a measure that was not taken is null and counts nowhere.
    """
    layout = _Layout.of(tuple(measures), tuple(age_groups))
    places = _Places.of(people.select("site", period=pl.lit(period)))
    sex, age = _codes(people["sex"], SEXES), people["age"].cast(pl.Int64).to_numpy()
    found = []
    for number, one in enumerate(measures):
        piece = layout.piece_of(one, sex, age)
        is_in = (piece >= 0) & people[one.name].is_not_null().to_numpy()
        value = people[one.name].fill_null(0).cast(pl.Int64).to_numpy()
        cells = (places.place[is_in], piece[is_in], value[is_in])
        found.append(_sorted_cells(number, places.number, layout.pieces, *cells))
    return _by_population(layout, places, found)


@dataclass(frozen=True)
class _Layout:
    """Measures and groups by number. A piece is a run of ages of one sex that no group's edge divides.

    piece: (sexes, ages), -1 where no group is. Groups of measures × pieces + piece stand in `listed` from `start` on,
    `size` of them: those in which the measure is reported.
    """

    registered: pl.DataFrame
    groups: pl.DataFrame
    piece: Integers
    pieces: int
    start: Integers
    size: Integers
    listed: Integers

    @classmethod
    @lru_cache(maxsize=8)
    def of(cls, measures: tuple[Measure, ...], age_groups: tuple[tuple[int, int], ...]) -> _Layout:
        groups = group_table(age_groups)
        of_person, members = pieces(groups)
        number_of_pieces = of_person["piece"].n_unique()
        piece = np.full((len(SEXES), _AGES), -1, dtype=np.int64)
        piece[[SEXES.index(s) for s in of_person["sex"]], of_person["age"].to_numpy()] = of_person["piece"]
        ages = {measure.name: (measure.age_from, measure.age_to) for measure in measures}
        reported = set(groups_reported(ages, groups, age_groups).rows())
        listed: list[list[int]] = [[] for _ in range(len(measures) * number_of_pieces)]
        for i, measure in enumerate(measures):
            for of, group in members.iter_rows():
                if (measure.name, group) in reported:
                    listed[i * number_of_pieces + of].append(group)
        size = np.array([len(one) for one in listed], dtype=np.int64)
        every = np.array([*itertools.chain(*listed)], dtype=np.int64)
        registered = pl.DataFrame(
            [(m.name, m.unit, m.steps_per_unit) for m in measures],
            orient="row",
            schema={"measure": pl.String, "unit": pl.String, "steps_per_unit": pl.Int64},
        )
        return cls(registered, groups, piece, number_of_pieces, np.cumsum(size) - size, size, every)

    def piece_of(self, measure: Measure, sex: Integers, age: Integers) -> Integers:
        """The piece of each, -1 where the measure does not apply at the age, or no group has it. Shapes: (any,)."""
        applies = (age >= measure.age_from) & (age <= measure.age_to) & (age < _AGES)
        return np.where(applies, self.piece[sex, np.where(applies, age, 0)], -1)


@dataclass(frozen=True)
class _Places:
    """Sites (one null for all together) and periods of a tally, by name; a cell's place is site × periods + period."""

    sites: pl.Series
    periods: pl.Series
    place: Integers

    @classmethod
    def of(cls, tally: pl.DataFrame) -> _Places:
        periods = tally["period"].unique().cast(pl.String).sort()
        place = _codes(tally["period"], periods)
        if "site" not in tally.columns:
            return cls(pl.Series([None], dtype=pl.String), periods, place)
        sites = tally["site"].unique().cast(pl.String).sort()
        return cls(sites, periods, _codes(tally["site"], sites) * periods.len() + place)

    @property
    def number(self) -> int:
        return max(self.sites.len() * self.periods.len(), 1)


def _codes(column: pl.Series, words: Sequence[str] | pl.Series) -> Integers:
    """Each word's place among `words`, -1 for another."""
    return column.cast(pl.Enum(words), strict=False).to_physical().cast(pl.Int64).fill_null(-1).to_numpy()


def _sorted_cells(
    measure: int, places: int, pieces: int, place: Integers, piece: Integers, value: Integers, n: Integers | None = None
) -> tuple[Integers, ...]:
    """(stratum, piece, value, n) of each cell of a measure, sorted by stratum and value; n None counts each as one.

    stratum: measure's number × places + the place.
    """
    low, width = value.min(initial=0), int(np.ptp(np.append(value, 0))) + 1
    key = (place * width + value - low) * pieces + piece
    if n is None:
        key = np.sort(key)
    else:
        order = np.argsort(key)
        key, n = key[order], n[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    ends = np.append(first, key.size)
    n = np.diff(ends if n is None else np.append(0, np.cumsum(n))[ends])
    rest, piece = np.divmod(key[first], pieces)
    place, value = np.divmod(rest, width)
    return measure * places + place, piece, value + low, n


def _by_population(
    layout: _Layout, places: _Places, cells: Sequence[tuple[Integers, ...]]
) -> tuple[pl.DataFrame, ValueCounts]:
    """Cells of each measure in turn, listed under every group of their piece."""
    stratum, piece, value, n = (np.concatenate(parts) for parts in zip(*cells, strict=True))
    of = stratum // places.number * layout.pieces + piece
    size, groups = layout.size[of], layout.groups.height
    cell = np.repeat(np.arange(of.size), size)
    place_in_list = (layout.start[of] - (np.cumsum(size) - size))[cell] + np.arange(cell.size)
    # Cells come sorted by value, so a stable sort by population is all; of 16 bits it is a radix sort.
    kind = np.uint16 if (stratum.max(initial=0) + 1) * groups < 2**16 else np.int64
    population = (stratum * groups).astype(kind)[cell] + layout.listed.astype(kind)[place_in_list]
    order = np.argsort(population, kind="stable")
    cell = cell[order]
    counts = ValueCounts.of(population[order], value[cell], n[cell])
    stratum, group = np.divmod(counts.group, groups)
    measure, place = np.divmod(stratum, places.number)
    site, period = np.divmod(place, max(places.periods.len(), 1))
    populations = [
        layout.registered[measure],
        places.sites[site].alias("site").to_frame(),
        places.periods[period].alias("period").to_frame(),
        layout.groups[group].drop("group"),
    ]
    return pl.concat(populations, how="horizontal"), counts
