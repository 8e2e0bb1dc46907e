"""Measures, places and groups by number: in which populations (measure × site × period × group) somebody counts.

Everything is a whole number in NumPy: strings as keys of joins and sorts took most of the time of a run.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import SEXES, group_table, groups_reported, pieces

Integers = NDArray[np.int64]

_AGES = 256  # single years that a number of sex and age has room for


@dataclass(frozen=True)
class Layout:
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
    def of(cls, measures: tuple[Measure, ...], age_groups: tuple[tuple[int, int], ...]) -> Layout:
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

    @cached_property
    def groups_of(self) -> Integers:
        """The groups that list each piece, one a column, -1 where there are fewer. Shape (measures, pieces, most)."""
        most = int(self.size.max(initial=0))
        found = np.full((self.size.size, most), -1, dtype=np.int64)
        column = np.arange(self.listed.size) - np.repeat(self.start, self.size)
        found[np.repeat(np.arange(self.size.size), self.size), column] = self.listed
        return found.reshape(-1, self.pieces, most)

    def table(self, places: Places, stratum: Integers, group: Integers) -> pl.DataFrame:
        """Measure, unit, steps_per_unit, site, period, sex, age_from, age_to of populations.

        Shapes   stratum: (populations,), the measure's number × places + the place; group: (populations,).
        """
        measure, place = np.divmod(stratum, places.number)
        site, period = np.divmod(place, max(places.periods.len(), 1))
        parts = [
            self.registered[measure],
            places.sites[site].alias("site").to_frame(),
            places.periods[period].alias("period").to_frame(),
            self.groups[group].drop("group"),
        ]
        return pl.concat(parts, how="horizontal")


@dataclass(frozen=True)
class Places:
    """Sites (one null for all together) and periods of a tally, by name; a cell's place is site × periods + period."""

    sites: pl.Series
    periods: pl.Series
    place: Integers

    @classmethod
    def of(cls, tally: pl.DataFrame) -> Places:
        periods = tally["period"].unique().cast(pl.String).sort()
        place = codes(tally["period"], periods)
        if "site" not in tally.columns:
            return cls(pl.Series([None], dtype=pl.String), periods, place)
        sites = tally["site"].unique().cast(pl.String).sort()
        return cls(sites, periods, codes(tally["site"], sites) * periods.len() + place)

    @property
    def number(self) -> int:
        return max(self.sites.len() * self.periods.len(), 1)


def codes(column: pl.Series, words: Sequence[str] | pl.Series) -> Integers:
    """Each word's place among `words`, -1 for another."""
    return column.cast(pl.Enum(words), strict=False).to_physical().cast(pl.Int64).fill_null(-1).to_numpy()
