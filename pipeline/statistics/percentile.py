"""Value tallies → the published table of percentiles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_group import AgeGroups, cells_in_groups, group_table, groups_reported
from pipeline.statistics.clustered_percentile import SitesBelow
from pipeline.statistics.value_count import ValueCounts, quantile_interval, quantile_type_7

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]

METHOD = "Hyndman-Fan type 7, order-statistic limits"

_POPULATION = ["measure", "period", "sex", "age_from", "age_to"]
_SLACK = 1e-6  # of a print step: 72.4 · 10 is 724.0000000000001
_VALUES = 2**32  # one whole number a cell, population · 2³² + value + 2³¹, sorts faster than several columns


@dataclass(frozen=True)
class Percentiles:
    """populations: one row a measure, period and group, in published order; counts: theirs; percents (percents,);
    value (populations, percents) in the measure's unit."""

    populations: pl.DataFrame
    counts: ValueCounts
    percents: Integers
    value: Floats

    @property
    def steps(self) -> Integers:
        """Print steps in a unit of each population's measure. Shape (populations,)."""
        return self.populations["steps_per_unit"].to_numpy()


def percentile_table(
    value_tally: pl.DataFrame,
    measures: Sequence[Measure],
    age_groups: AgeGroups,
    percentiles: Sequence[int],
    site: str | None = None,
) -> pl.DataFrame:
    """percentile_rows of percentiles_of: people counted one by one, of one site or of all."""
    return percentile_rows(percentiles_of(value_tally, measures, age_groups, percentiles), site)


def percentiles_of(
    value_tally: pl.DataFrame, measures: Sequence[Measure], age_groups: AgeGroups, percentiles: Sequence[int]
) -> Percentiles:
    """Percentiles of each measure by period, sex and age group.

    Shapes   value_tally: columns period, sex, age, measure, value, n; repeated keys are summed.
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
    found: Percentiles, site: str | None = None, sites: SitesBelow | None = None, least_beyond: int = 1
) -> pl.DataFrame:
    """Columns of result.percentile, one row a measure, period, sex, age group and percentile, sorted by measure as
    registered, period, sex, age, percentile.

    Disclosure control works out from n which limits lie near the ends; of limits that sites make wider it cannot, so
    those with fewer than least_beyond people from them outward are left out here.

    Shapes   site: null for all sites; sites: of all sites together, whom each has.
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
        pl.lit(site, dtype=pl.String).alias("site"),
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


def people_below(of_all: Percentiles, of_site: Percentiles) -> tuple[Integers, Integers]:
    """Whom a site has at or below each percentile of all sites.

    Shapes   out: (populations, percents) at or below, and (populations,) in all, populations as in of_all.
    Missing  0 where the site has nobody in a population.
    """
    numbered = of_all.populations.select(_POPULATION).with_row_index("at")
    at = of_site.populations.select(_POPULATION).join(numbered, on=_POPULATION, how="left", maintain_order="left")
    place = at["at"].to_numpy()
    below = np.zeros(of_all.value.shape, dtype=np.int64)
    people = np.zeros(of_all.populations.height, dtype=np.int64)
    edge = np.floor(of_all.value[place] * of_all.steps[place, None] + _SLACK).astype(np.int64)
    below[place], people[place] = of_site.counts.at_or_below(edge), of_site.counts.people
    return below, people


def _value_counts(
    value_tally: pl.DataFrame, measures: Sequence[Measure], age_groups: AgeGroups
) -> tuple[pl.DataFrame, ValueCounts]:
    """The populations (measure × period × group) that hold anybody, in published order, and their value counts."""
    registered = _registered(measures)
    groups = group_table(age_groups)
    strata = (
        value_tally.select("measure", "period")
        .unique()
        .join(registered, on="measure")
        .sort("measure_order", "period")
        .with_row_index("stratum")
        .with_columns(pl.col("stratum").cast(pl.Int64))
    )
    applicable = value_tally.join(strata, on=["measure", "period"]).filter(
        pl.col("age").is_between("lowest_age", "highest_age")
    )
    ages = {measure.name: (measure.age_from, measure.age_to) for measure in measures}
    reported = groups_reported(ages, groups, age_groups).join(strata, left_on="name", right_on="measure")
    cells = (
        cells_in_groups(applicable, groups, ["stratum", "value"])
        .join(reported, on=["stratum", "group"], how="semi")
        .select(
            "n",
            cell=(pl.col("stratum") * groups.height + pl.col("group")) * _VALUES
            + pl.col("value")
            + _VALUES // 2,
        )
        .sort("cell")
    )
    population, value = np.divmod(cells["cell"].to_numpy(), _VALUES)
    counts = ValueCounts.of(population, value - _VALUES // 2, cells["n"].to_numpy())
    populations = (
        pl.DataFrame({"stratum": counts.group // groups.height, "group": counts.group % groups.height})
        .join(strata, on="stratum", how="left", maintain_order="left")
        .join(
            groups.with_columns(pl.col("group").cast(pl.Int64)), on="group", how="left", maintain_order="left"
        )
    )
    return populations, counts


def _registered(measures: Sequence[Measure]) -> pl.DataFrame:
    return pl.DataFrame(
        [(i, m.name, m.unit, m.steps_per_unit, m.age_from, m.age_to) for i, m in enumerate(measures)],
        orient="row",
        schema={
            "measure_order": pl.Int16,
            "measure": pl.String,
            "unit": pl.String,
            "steps_per_unit": pl.Int64,
            "lowest_age": pl.Int16,
            "highest_age": pl.Int16,
        },
    )
