"""Value tallies → the published table of percentiles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import AgeGroups
from pipeline.statistics.clustered_percentile import SitesBelow
from pipeline.statistics.population_counts import counts_of_tally
from pipeline.statistics.population_values import values_of_people
from pipeline.statistics.value_count import SortedValues, ValueCounts, quantile_interval, quantile_type_7

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
    counts: ValueCounts | SortedValues
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
    return _percentiles(*counts_of_tally(value_tally, measures, age_groups), percentiles)


def percentiles_of_people(
    people: pl.DataFrame, period: str, measures: Sequence[Measure], age_groups: AgeGroups, percentiles: Sequence[int]
) -> Percentiles:
    """percentiles_of the tally that the people of some sites make in a period.

    Shapes   people: one row a person, columns site, sex, age, and one a measure, by its name, in whole print steps.
    Missing  a measure that was not taken is null; else as percentiles_of.
    """
    return _percentiles(*values_of_people(people, period, measures, age_groups), percentiles)


def _percentiles(
    populations: pl.DataFrame, counts: ValueCounts | SortedValues, percentiles: Sequence[int]
) -> Percentiles:
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
