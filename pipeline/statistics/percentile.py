"""Value tallies → the published table of percentiles."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import SEXES, AgeGroups, group_table, groups_reported, pieces
from pipeline.statistics.clustered_percentile import SitesBelow
from pipeline.statistics.value_count import ValueCounts, quantile_interval, quantile_type_7

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]

METHOD = "Hyndman-Fan type 7, order-statistic limits"

_POPULATION = ["measure", "period", "sex", "age_from", "age_to"]
_SLACK = 1e-6  # of a print step: 72.4 · 10 is 724.0000000000001


@dataclass(frozen=True)
class Percentiles:
    """populations: one row a measure, site (null for all), period and group, in published order; counts: theirs;
    percents (percents,); value (populations, percents) in the measure's unit."""

    populations: pl.DataFrame
    counts: ValueCounts
    percents: Integers
    value: Floats

    @property
    def steps(self) -> Integers:
        """Print steps in a unit of each population's measure. Shape (populations,)."""
        return self.populations["steps_per_unit"].to_numpy()


def percentiles_of(
    value_tally: pl.DataFrame, measures: Sequence[Measure], age_groups: AgeGroups, percentiles: Sequence[int]
) -> Percentiles:
    """Percentiles of each measure by period, sex and age group, and by site where the tally has sites.

    Shapes   value_tally: columns period, sex, age, measure, value, n, and site or not; repeated keys are summed.
    Units    value in whole print steps (72.4 kg is 724); out in the measure's unit; n in people.
             Groups of ages: those of ages_reported for the measure's ages.
    Missing  a group without people is no population. Measures that are not asked for, and ages at which a measure
             does not apply, are left out.
    Errors   ValueError for a negative count, or a sex other than female and male.
    Source   value_count.quantile_type_7.
    """
    if value_tally.height and value_tally["n"].min() < 0:
        raise ValueError(f"a count of {value_tally['n'].min()} in the value tally: counts are 0 or more")
    populations, counts = _value_counts(value_tally, measures, age_groups)
    percents = np.asarray(percentiles, dtype=np.int64)
    value = quantile_type_7(counts, percents, populations["steps_per_unit"].to_numpy())
    return Percentiles(populations, counts, percents, value)


def percentile_rows(
    found: Percentiles, sites: SitesBelow | None = None, least_beyond: int = 1
) -> pl.DataFrame:
    """Columns of result.percentile, one row a population and percentile, sorted by measure as registered, site, period,
    sex, age, percentile.

    Disclosure control works out from n which limits lie near the ends; of limits that sites make wider it cannot, so
    those with fewer than least_beyond people from them outward are left out here.

    Shapes   sites: of all sites together, whom each has.
    Missing  a limit that does not exist is null.
    Source   value_count.quantile_interval; with sites as clusters: clustered_percentile.
    """
    populations, percents = found.populations.height, found.percents.size
    effective = None if sites is None else sites.effective_people(found.percents)
    clusters = np.zeros(populations, dtype=np.int64) if sites is None else sites.clusters
    least = np.where(clusters >= 2, least_beyond, 1)[:, None]
    low, high = quantile_interval(
        found.counts, found.percents, found.steps, effective=effective, least_beyond=least
    )
    methods = [METHOD if k < 2 else f"{METHOD}, {k} sites as clusters" for k in clusters.tolist()]
    rows = found.populations[np.repeat(np.arange(populations), percents)]
    return rows.select(
        "measure",
        "unit",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        pl.Series("percentile", np.tile(found.percents, populations), dtype=pl.Int16),
        pl.Series("value", found.value.ravel()),
        pl.Series("low", low.ravel()).fill_nan(None),
        pl.Series("high", high.ravel()).fill_nan(None),
        pl.Series("n", np.repeat(found.counts.people, percents)),
        pl.Series("method", np.repeat(np.array(methods, dtype=object), percents).tolist(), dtype=pl.String),
        pl.lit(None, dtype=pl.String).alias("flag"),
    )


def people_below(of_all: Percentiles, of_sites: Percentiles) -> tuple[Integers, Integers]:
    """Whom each site has at or below each percentile of all sites.

    Shapes   out: (sites, populations, percents) at or below, and (sites, populations) in all; sites by name,
             populations as in of_all.
    Missing  0 where a site has nobody in a population.
    """
    names = of_sites.populations["site"].unique().sort()
    site = of_sites.populations["site"].cast(pl.Enum(names)).to_physical().to_numpy()
    numbered = of_all.populations.select(_POPULATION).with_row_index("at")
    at = of_sites.populations.select(_POPULATION).join(
        numbered, on=_POPULATION, how="left", maintain_order="left"
    )
    place = at["at"].to_numpy()
    below = np.zeros((names.len(), *of_all.value.shape), dtype=np.int64)
    people = np.zeros(below.shape[:2], dtype=np.int64)
    edge = np.floor(of_all.value[place] * of_all.steps[place, None] + _SLACK).astype(np.int64)
    below[site, place], people[site, place] = of_sites.counts.at_or_below(edge), of_sites.counts.people
    return below, people


def _value_counts(
    value_tally: pl.DataFrame, measures: Sequence[Measure], age_groups: AgeGroups
) -> tuple[pl.DataFrame, ValueCounts]:
    """The populations (measure × period × group) that hold anybody, in published order, and their value counts.

    Everything is a whole number in NumPy: strings as keys of joins and sorts took most of the time of a run.
    """
    groups = group_table(age_groups)
    strangers = set(value_tally["sex"].unique().to_list()) - set(SEXES)
    if strangers:
        raise ValueError(f"sex {sorted(strangers, key=str)[0]} in a tally; the sexes are {', '.join(SEXES)}")
    places = _Places.of(value_tally)
    stratum, piece, value, n = _cells_of_pieces(value_tally, measures, places, groups)
    start, size, listed = _groups_of_pieces(measures, groups, age_groups)
    of = stratum // max(places.number, 1) * _pieces_in(groups) + piece
    cell = np.repeat(np.arange(of.size), size[of])
    nth = np.arange(cell.size) - np.repeat(np.cumsum(size[of]) - size[of], size[of])
    population = stratum[cell] * groups.height + listed[start[of][cell] + nth]
    # Cells come sorted by value, so a stable sort by population is all; of 16 bits it is a radix sort.
    narrow = population.astype(np.uint16) if population.max(initial=0) < 2**16 else population
    order = np.argsort(narrow, kind="stable")
    counts = ValueCounts.of(population[order], value[cell][order], n[cell][order])
    stratum, group = np.divmod(counts.group, groups.height)
    measure, place = np.divmod(stratum, max(places.number, 1))
    site, period = np.divmod(place, max(places.periods.len(), 1))
    return pl.concat(
        [
            _registered(measures)[measure],
            places.sites[site].alias("site").to_frame(),
            places.periods[period].alias("period").to_frame(),
            groups[group].drop("group"),
        ],
        how="horizontal",
    ), counts


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
        return self.sites.len() * self.periods.len()


def _codes(column: pl.Series, words: Sequence[str] | pl.Series) -> Integers:
    """Each word's place among `words`, -1 for another."""
    return column.cast(pl.Enum(words), strict=False).to_physical().cast(pl.Int64).fill_null(-1).to_numpy()


def _cells_of_pieces(
    value_tally: pl.DataFrame, measures: Sequence[Measure], places: _Places, groups: pl.DataFrame
) -> tuple[Integers, Integers, Integers, Integers]:
    """(stratum, piece, value, n) of each cell, ages summed into pieces, sorted by stratum and value.

    stratum: measure's number × places + the place's; cells of other measures and of ages that do not apply are out.
    """
    measure = _codes(value_tally["measure"], [measure.name for measure in measures])
    sex = _codes(value_tally["sex"], SEXES)
    age, value, n = (value_tally[name].cast(pl.Int64).to_numpy() for name in ("age", "value", "n"))
    of_person, _ = pieces(groups)
    by_age = np.full((len(SEXES), 256), -1, dtype=np.int64)
    by_age[[SEXES.index(s) for s in of_person["sex"]], of_person["age"].to_numpy()] = of_person["piece"].to_numpy()
    lowest, highest = (np.array([getattr(m, end) for m in measures]) for end in ("age_from", "age_to"))
    is_in = (measure >= 0) & (n > 0) & (age >= lowest[measure]) & (age <= highest[measure]) & (age < by_age.shape[1])
    piece = by_age[sex, np.where(is_in, age, 0)]
    is_in &= piece >= 0
    measure, place, piece, value, n = (column[is_in] for column in (measure, places.place, piece, value, n))
    low, width, number_of_pieces = value.min(initial=0), int(np.ptp(np.append(value, 0))) + 1, _pieces_in(groups)
    key = ((measure * places.number + place) * width + value - low) * number_of_pieces + piece
    order = np.argsort(key)
    key = key[order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    n = np.add.reduceat(n[order], first) if first.size else n[:0]
    rest, piece = np.divmod(key[first], number_of_pieces)
    stratum, value = np.divmod(rest, width)
    return stratum, piece, value + low, n


def _groups_of_pieces(
    measures: Sequence[Measure], groups: pl.DataFrame, age_groups: AgeGroups
) -> tuple[Integers, Integers, Integers]:
    """Where the groups of measure × pieces + piece begin in the last array, how many there are, and all of them.

    Only groups in which the measure is reported.
    """
    ages = {measure.name: (measure.age_from, measure.age_to) for measure in measures}
    reported = set(groups_reported(ages, groups, age_groups).rows())
    of_person, members = pieces(groups)
    number_of_pieces = of_person["piece"].n_unique()
    listed: list[list[int]] = [[] for _ in range(len(measures) * number_of_pieces)]
    for i, measure in enumerate(measures):
        for piece, group in members.iter_rows():
            if (measure.name, group) in reported:
                listed[i * number_of_pieces + piece].append(group)
    size = np.array([len(one) for one in listed], dtype=np.int64)
    return np.cumsum(size) - size, size, np.array([*itertools.chain(*listed)], dtype=np.int64)


def _pieces_in(groups: pl.DataFrame) -> int:
    return pieces(groups)[0]["piece"].n_unique()


def _registered(measures: Sequence[Measure]) -> pl.DataFrame:
    return pl.DataFrame(
        [(m.name, m.unit, m.steps_per_unit) for m in measures],
        orient="row",
        schema={"measure": pl.String, "unit": pl.String, "steps_per_unit": pl.Int64},
    )
