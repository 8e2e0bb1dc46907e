"""Value tallies → the value counts of every published population."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import SEXES, AgeGroups
from pipeline.statistics.population_layout import Layout, Places, codes
from pipeline.statistics.value_count import ValueCounts

Integers = NDArray[np.int64]


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
    layout, places = Layout.of(tuple(measures), tuple(age_groups)), Places.of(value_tally)
    measure = codes(value_tally["measure"], [measure.name for measure in measures])
    sex = codes(value_tally["sex"], SEXES)
    age, value, n = (value_tally[name].cast(pl.Int64).to_numpy() for name in ("age", "value", "n"))
    found = []
    for number, one in enumerate(measures):
        of_it = (measure == number) & (n > 0)
        place, piece = places.place[of_it], layout.piece_of(one, sex[of_it], age[of_it])
        is_in = piece >= 0
        cells = (place[is_in], piece[is_in], value[of_it][is_in], n[of_it][is_in])
        found.append(_sorted_cells(number, places.number, layout.pieces, *cells))
    return _by_population(layout, places, found)


def _sorted_cells(
    measure: int, places: int, pieces: int, place: Integers, piece: Integers, value: Integers, n: Integers
) -> tuple[Integers, ...]:
    """(stratum, piece, value, n) of each cell of a measure, sorted by stratum and value, repeated ones summed.

    stratum: measure's number × places + the place.
    """
    low, width = value.min(initial=0), int(np.ptp(np.append(value, 0))) + 1
    key = (place * width + value - low) * pieces + piece
    order = np.argsort(key)
    key, n = key[order], n[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    n = np.diff(np.append(0, np.cumsum(n))[np.append(first, key.size)])
    rest, piece = np.divmod(key[first], pieces)
    place, value = np.divmod(rest, width)
    return measure * places + place, piece, value + low, n


def _by_population(
    layout: Layout, places: Places, cells: Sequence[tuple[Integers, ...]]
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
    return layout.table(places, *np.divmod(counts.group, groups)), counts
