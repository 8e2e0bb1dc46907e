"""Counts below the centiles of WHO Reference 2007 → the published table of where the cohort stands beside it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from scipy.special import ndtri

from pipeline.statistics.age_group import AgeGroups, ages_reported, count_by_group, group_table
from pipeline.statistics.published_proportion import proportions_of_all, site_matrices

AGES = (5, 19)
REFERENCE = "WHO 2007 BMI-for-age, z to the hundredth"

_KEY = ["period", "group", "percentile"]
_COLUMNS = ["period", "sex", "age_from", "age_to", "percentile", "n", "denominator"]


def centile_edges(percentiles: Sequence[int], steps_per_unit: int) -> pl.DataFrame:
    """The highest printed z-score below each centile of the reference, in whole print steps.

    Shapes   out: columns percentile, edge; one row a percentile.
    Units    percentiles strictly between 0 and 100; at the 50th, 0 itself is not below.
    """
    exact = ndtri(np.asarray(percentiles) / 100) * steps_per_unit
    return pl.DataFrame(
        {"percentile": list(percentiles), "edge": (np.ceil(exact) - 1).astype(np.int64)},
        schema={"percentile": pl.Int16, "edge": pl.Int64},
    )


def who_position_table(counts: pl.DataFrame, age_groups: AgeGroups) -> pl.DataFrame:
    """The share of the cohort below each centile of the reference, beside the share of the reference.

    Shapes   counts: columns site, period, sex, age, percentile, n (below it), denominator;
             out: columns of result.who_position, one row a period, sex, age group and percentile, sorted by them.
    Units    n and denominator in people; proportion, low, high and expected from 0 to 1.
    Missing  a group with nobody has no rows.
    Source   de Onis et al., Bull World Health Organ 2007;85:660-7; interval: published_proportion.proportions_of_all.
    """
    groups = group_table(age_groups)
    reported = pl.DataFrame(
        ages_reported(age_groups, *AGES), orient="row", schema={"age_from": pl.Int16, "age_to": pl.Int16}
    )
    shown = groups.join(reported, on=["age_from", "age_to"], how="semi")
    keys = ["site", "period", "percentile"]
    measured = count_by_group(counts.select(*keys, "sex", "age", n="denominator"), shown, keys).rename(
        {"n": "denominator"}
    )
    below = count_by_group(counts.select(*keys, "sex", "age", "n"), shown, keys)
    by_site = measured.join(below, on=[*keys, "group"], how="left").with_columns(pl.col("n").fill_null(0))
    whole = by_site.group_by(_KEY).agg(pl.col("n", "denominator").sum()).sort(_KEY)
    rows = whole.join(groups, on="group", how="left", maintain_order="left")
    intervals = proportions_of_all(*site_matrices(whole, by_site, _KEY))
    return (
        rows.select(_COLUMNS)
        .hstack(intervals)
        .select(
            *_COLUMNS,
            (pl.col("n") / pl.col("denominator")).alias("proportion"),
            "low",
            "high",
            (pl.col("percentile") / 100).alias("expected"),
            (pl.lit(f"{REFERENCE}; ") + pl.col("method")).alias("method"),
            "flag",
        )
    )
