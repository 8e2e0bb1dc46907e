"""BMI bands at entry and at a follow-up → result.transition."""

from __future__ import annotations

import polars as pl

from pipeline import measures
from pipeline.statistics.proportion_interval import wilson_interval
from pipeline.statistics.reliability import LEAST_PEOPLE
from pipeline.store import Store

_METHOD = "share of those who began in the band and were seen; Wilson interval"


def build_transitions(store: Store, counts: pl.DataFrame) -> None:
    """Rewrite result.transition, in the caller's transaction: every band to every band, zeros too.

    counts: of sql/57_outcome_transition.sql, of every follow-up.
    """
    bands = [
        (banding, one.name, other.name)
        for banding in ("bmi_adult", "bmi_child")
        for one in measures.BANDINGS[banding].bands
        for other in measures.BANDINGS[banding].bands
    ]
    key = ["months", "banding", "band_from"]
    grid = pl.DataFrame(bands, schema=["banding", "band_from", "band_to"], orient="row")
    cells = (
        counts.select(key).unique().join(grid, on=["banding", "band_from"])
        .join(counts, on=[*key, "band_to"], how="left")
        .with_columns(pl.col("n").fill_null(0).cast(pl.Int64))
        .with_columns(denominator=pl.col("n").sum().over(key))
        .sort(*key, "band_to")
    )  # fmt: skip
    low, high = wilson_interval(cells["n"].to_numpy(), cells["denominator"].to_numpy())
    table = cells.with_columns(
        proportion=pl.col("n") / pl.col("denominator"),
        low=pl.Series(low),
        high=pl.Series(high),
        method=pl.lit(_METHOD),
        flag=pl.when(pl.col("denominator") < LEAST_PEOPLE).then(pl.lit("unreliable")),
    )
    store.replace_rows("result.transition", table)
