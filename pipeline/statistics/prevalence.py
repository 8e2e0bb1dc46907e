"""Band tallies → the published table of prevalences."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipeline.measures import Banding
from pipeline.statistics.age_group import AgeGroups, count_by_group, group_table, groups_reported
from pipeline.statistics.proportion_interval import wilson_interval
from pipeline.statistics.published_proportion import (
    WILSON,
    flags_of_simple,
    proportions_of_all,
    site_matrices,
)

_POPULATION = ["banding", "population", "site", "period", "group"]


def prevalence_table(
    band_tally: pl.DataFrame, bandings: Sequence[Banding], age_groups: AgeGroups
) -> pl.DataFrame:
    """The share of people in each band, for all sites together and for each site.

    Shapes   band_tally: columns site, period, sex, age, banding, band, n; repeated keys are summed.
             out: columns of result.prevalence, one row a banding, band, population, site, period, sex and
             age group; sorted by banding and band as registered, population, site, period, sex, age.
    Units    n and denominator in people, proportion, low and high from 0 to 1.
             The denominator is everyone of the group whom the banding places in one of its bands.
             Groups of ages: those of ages_reported for the banding's ages.
    Missing  a group with nobody in any band has no rows; a band with nobody, in a group with people, has
             one with n = 0. Bandings that are not asked for are left out. site is null for all sites.
    Errors   ValueError for a band or an age that the banding does not have.
    Source   of all sites: published_proportion.proportions_of_all, sites as clusters. Of a site:
             proportion_interval.wilson_interval, people counted one by one; design_effect is null there.
    """
    registered = _registered(bandings)
    tally = band_tally.filter(pl.col("banding").is_in([banding.name for banding in bandings]))
    _check(tally, registered)
    groups = group_table(age_groups)
    ages = {banding.name: (banding.age_from, banding.age_to) for banding in bandings}
    reported = groups_reported(ages, groups, age_groups).rename({"name": "banding"})
    by_site = count_by_group(tally, groups, ["site", "period", "banding", "band"]).join(
        reported, on=["banding", "group"], how="semi"
    )
    counts = _with_all_sites(by_site)
    cells = (
        counts.group_by(_POPULATION)
        .agg(pl.col("n").sum().alias("denominator"))
        .join(registered.select("banding", "band", "banding_order", "band_order"), on="banding")
        .join(counts, on=["band", *_POPULATION], how="left", nulls_equal=True)
        .with_columns(pl.col("n").fill_null(0))
        .sort("banding_order", "band_order", "population", "site", "period", "group")
        .join(groups, on="group", how="left", maintain_order="left")
    )
    intervals = _intervals(cells)
    return cells.hstack(intervals).select(
        "banding",
        "band",
        "population",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        pl.col("n").cast(pl.Int64),
        pl.col("denominator").cast(pl.Int64),
        (pl.col("n") / pl.col("denominator")).alias("proportion"),
        "low",
        "high",
        "design_effect",
        "method",
        "flag",
    )


def _with_all_sites(by_site: pl.DataFrame) -> pl.DataFrame:
    """population, site, period, banding, band, group, n: all sites together, then each."""
    key = ["period", "banding", "band", "group"]
    of_all = by_site.group_by(key).agg(pl.col("n").sum())
    return pl.concat(
        [
            of_all.select(pl.lit("all").alias("population"), pl.lit(None, pl.String).alias("site"), *key, "n"),
            by_site.select(pl.lit("site").alias("population"), "site", *key, "n"),
        ]
    )


def _intervals(cells: pl.DataFrame) -> pl.DataFrame:
    """low, high, design_effect, method and flag of each cell, in the order of the cells."""
    numbered = cells.with_row_index("row")
    whole = numbered.filter(pl.col("population") == "all")
    by_site = numbered.filter(pl.col("population") == "site")
    clustered = proportions_of_all(*site_matrices(whole, by_site, ["banding", "band", "period", "group"]))
    count, people = (by_site[name].to_numpy() for name in ("n", "denominator"))
    low, high = wilson_interval(count, people)
    simple = by_site.select("row").with_columns(
        low=pl.Series(low),
        high=pl.Series(high),
        design_effect=pl.lit(None, dtype=pl.Float64),
        method=pl.lit(WILSON),
        flag=pl.Series(flags_of_simple(count, people).tolist(), dtype=pl.String).replace("", None),
    )
    return pl.concat([whole.select("row").hstack(clustered), simple]).sort("row").drop("row")


def _registered(bandings: Sequence[Banding]) -> pl.DataFrame:
    rows = [
        (i, banding.name, j, band.name, banding.age_from, banding.age_to)
        for i, banding in enumerate(bandings)
        for j, band in enumerate(banding.bands)
    ]
    return pl.DataFrame(
        rows,
        orient="row",
        schema={
            "banding_order": pl.Int16,
            "banding": pl.String,
            "band_order": pl.Int16,
            "band": pl.String,
            "lowest_age": pl.Int16,
            "highest_age": pl.Int16,
        },
    )


def _check(tally: pl.DataFrame, registered: pl.DataFrame) -> None:
    strangers = (
        tally.select("banding", "band", "age")
        .unique()
        .join(registered, on=["banding", "band"], how="left")
        .filter(pl.col("band_order").is_null() | ~pl.col("age").is_between("lowest_age", "highest_age"))
        .sort("banding", "band", "age")
    )
    if strangers.height:
        first = strangers.row(0, named=True)
        raise ValueError(
            f"banding {first['banding']} has people in band {first['band']} at age {first['age']}; "
            "the registry has no such band at that age: look at the tally's banding rule"
        )
