"""Value tallies → the published table of percentiles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.measures import Measure
from pipeline.statistics.age_group import AgeGroups, cells_in_groups, group_table, groups_reported
from pipeline.statistics.value_count import ValueCounts, quantile_interval, quantile_type_7

METHOD = "Hyndman-Fan type 7, order-statistic limits"

_VALUES = 2**32  # one whole number a cell, population · 2³² + value + 2³¹, sorts faster than several columns


def percentile_table(
    value_tally: pl.DataFrame,
    measures: Sequence[Measure],
    age_groups: AgeGroups,
    percentiles: Sequence[int],
    site: str | None = None,
) -> pl.DataFrame:
    """Percentiles of each measure by period, sex and age group, of all sites together or of one.

    Shapes   value_tally: columns period, sex, age, measure, value, n; repeated keys are summed.
             out: columns of result.percentile, one row a measure, period, sex, age group and percentile;
             sorted by measure as registered, period, sex, age, percentile.
    Units    value in whole print steps (72.4 kg is 724); out in the measure's unit; n in people.
             Groups of ages: those of ages_reported for the measure's ages.
    Missing  a group without people has no rows; a limit that does not exist is null. Measures that are not
             asked for, and ages at which a measure does not apply, are left out. site null means all sites.
    Errors   ValueError for a negative count, or a sex other than female and male.
    Source   value_count.quantile_type_7 and quantile_interval.
    """
    if value_tally.height and value_tally["n"].min() < 0:
        raise ValueError(f"a count of {value_tally['n'].min()} in the value tally: counts are 0 or more")
    populations, counts = _value_counts(value_tally, measures, age_groups)
    percents = np.asarray(percentiles, dtype=np.int64)
    steps = populations["steps_per_unit"].to_numpy()
    value = quantile_type_7(counts, percents, steps)
    low, high = quantile_interval(counts, percents, steps)
    rows = populations[np.repeat(np.arange(populations.height), percents.size)]
    return rows.select(
        "measure",
        "unit",
        pl.lit(site, dtype=pl.String).alias("site"),
        "period",
        "sex",
        "age_from",
        "age_to",
        pl.Series("percentile", np.tile(percents, populations.height), dtype=pl.Int16),
        pl.Series("value", value.ravel()),
        pl.Series("low", low.ravel()).fill_nan(None),
        pl.Series("high", high.ravel()).fill_nan(None),
        pl.Series("n", np.repeat(counts.people, percents.size)),
        pl.lit(METHOD).alias("method"),
        pl.lit(None, dtype=pl.String).alias("flag"),
    )


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
