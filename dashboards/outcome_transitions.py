"""From which BMI band to which: shares of those who entered in a band and were seen."""

from __future__ import annotations

import polars as pl

from dashboards import axes, outcome_charts, outcome_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.release import Release
from dashboards.wording import TEXT


def transition_figure(release: Release) -> tuple[Cube, Figure] | None:
    """From which band into which adults went; None where the release has none."""
    if not release.has("transition") or "bmi_adult" not in release.bandings:
        return None
    rows = (
        release.scan("transition").filter(pl.col("banding") == "bmi_adult")
        .with_columns(pl.col("months").cast(pl.String)).collect()
    )  # fmt: skip
    band = axes.band_axis(release.bandings["bmi_adult"])
    months = axes.months_axis(release.scan("outcome").select("months").collect())
    made = cube(
        rows,
        [
            months,
            Dimension("band_from", band.keys, band.labels),
            Dimension("band_to", band.keys, band.labels),
        ],
        {
            "share": Column("proportion", **share_scale()),
            "low": Column("low", **share_scale()),
            "high": Column("high", **share_scale()),
            "n": Column("n"),
            "of": Column("denominator"),
        },
    )
    columns = (
        TableColumn(TEXT["transition.column.share"], "value", ("share",), True, is_marked=True),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), True),
        TableColumn(TEXT["outcome.column.people"], "value", ("n",)),
        TableColumn(TEXT["outcome.column.of"], "value", ("of",)),
    )
    heads = (("band_from", TEXT["column.band_from"]), ("band_to", TEXT["column.band_to"]))
    return made, Figure(
        id="transition",
        question=TEXT["transition.question"],
        cube="transitions",
        along=("band_from", "band_to"),
        picks=("months",),
        spec=outcome_charts.transitions(columns, heads),
        columns=columns,
        source="data/transition.csv",
        extent=("share",),
        is_folded=True,
        is_wide=True,
        notes=(TEXT["transition.read"], release.bandings["bmi_adult"]["caution"]),
        headline=lambda at: outcome_headlines.transition(made, at, months.label(at["months"])),
    )
