"""People's values → the sorted values of every published population, without counting them first.

Within a site most people's sex, age and value are nobody else's: counting them would make as many rows again. Somebody
counts in half a dozen populations (of the own sex and of both, of an age group and of totals), and each has its own
stretch of whole numbers in one array, so one sort puts everybody in order in all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import SEXES, AgeGroups
from pipeline.statistics.population_layout import Layout, Places, codes
from pipeline.statistics.value_count import SortedValues

Integers = NDArray[np.int64]


def values_of_people(
    people: pl.DataFrame, period: str, measures: Sequence[Measure], age_groups: AgeGroups
) -> tuple[pl.DataFrame, SortedValues]:
    """counts_of_tally of the tally that people of a period make, without making it.

    Shapes   people: one row a person, columns site, sex, age, and one a measure, by its name, in whole print steps.
    Missing  a measure that was not taken is null and counts nowhere.
    """
    layout = Layout.of(tuple(measures), tuple(age_groups))
    places = Places.of(people.select("site", period=pl.lit(period)))
    sex, age = codes(people["sex"], SEXES), people["age"].cast(pl.Int64).to_numpy()
    groups, populations = layout.groups.height, places.number * layout.groups.height
    listed: dict[tuple[int, int], _Listed] = {}
    stretches: list[_Stretch] = []
    for number, one in enumerate(measures):
        ages = (one.age_from, one.age_to)
        if ages not in listed:  # measures of the same ages are reported in the same groups
            piece = layout.piece_of(one, sex, age)
            listed[ages] = _Listed.of(layout.groups_of[number], piece, places.place * groups, populations)
        first = stretches[-1].end if stretches else 0
        stretches.append(_Stretch.of(people[one.name], listed[ages], first))
    population = np.concatenate([s.there + number * populations for number, s in enumerate(stretches)])
    place, number, zero, lowest, highest = (
        np.concatenate([getattr(stretch, name) for stretch in stretches])
        for name in ("place", "people", "zero", "lowest", "highest")
    )
    values = SortedValues(place, number, np.cumsum(number) - number, zero, lowest, highest)
    return layout.table(places, *np.divmod(population, groups)), values


@dataclass(frozen=True)
class _Listed:
    """Each person under each of their populations: person, population are (any,); people: in each, (populations,)."""

    person: Integers
    population: Integers
    people: Integers

    @classmethod
    def of(cls, groups_of_piece: Integers, piece: Integers, start: Integers, populations: int) -> _Listed:
        """Shapes   groups_of_piece: (pieces, most), -1 for none; piece (-1 for none), start (the number of the first
        population of the person's place): (people,)."""
        person = np.flatnonzero(piece >= 0)
        group = groups_of_piece[piece[person]].T
        is_in = group >= 0
        population = (group + start[person])[is_in]
        person = np.broadcast_to(person, group.shape)[is_in]
        return cls(person, population, np.bincount(population, minlength=populations))

    def only(self, is_taken: NDArray[np.bool_]) -> _Listed:
        """Those of whom something was taken. Shapes: is_taken (people,)."""
        kept = is_taken[self.person]
        population = self.population[kept]
        return _Listed(self.person[kept], population, np.bincount(population, minlength=self.people.size))


@dataclass(frozen=True)
class _Stretch:
    """A measure's values as places in a stretch of whole numbers, a population's after the other's.

    place (values,): sorted; there (populations,): the numbers of those that have anybody; their people, where the value
    0 would be, and the lowest and highest value; end: where the next measure's stretch begins.
    """

    place: Integers
    there: Integers
    people: Integers
    zero: Integers
    lowest: Integers
    highest: Integers
    end: int

    @classmethod
    def of(cls, column: pl.Series, listed: _Listed, first: int) -> _Stretch:
        """Shapes   column: (people,), whole print steps or null."""
        if column.null_count():
            listed = listed.only(column.is_not_null().to_numpy())
        low, high = int(column.min() or 0), int(column.max() or 0)
        width = high - low + 1
        end = first + listed.people.size * width
        kind = np.int32 if end < 2**31 else np.int64  # of half the width: sorted in half the time
        place = np.multiply(listed.population, width, dtype=kind, casting="unsafe")
        place += column.fill_null(0).to_numpy()[listed.person]
        place += kind(first - low)
        place.sort()
        [there] = np.nonzero(listed.people)
        every = np.full(there.size, low)
        return cls(
            place, there, listed.people[there], first - low + there * width, every, every + width - 1, end
        )
