"""Where the cohort's children and young people stand against the WHO 2007 BMI-for-age reference."""

from __future__ import annotations

import polars as pl

from dashboards import axes, beam_charts, headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.methods_named import methods_named
from dashboards.release import Release
from dashboards.wording import TEXT, group_words, percentile_title, say

MEASURE = "bmi_z"
SOURCE = "data/who_position.csv"


def _columns() -> tuple[TableColumn, ...]:
    return (
        TableColumn(TEXT["who.column.share"], "value", ("share",), is_percent=True, is_marked=True),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), is_percent=True),
        TableColumn(TEXT["who.column.expected"], "value", ("expected",), is_percent=True),
        TableColumn(TEXT["who.column.n"], "value", ("n",)),
        TableColumn(TEXT["column.people"], "value", ("people",)),
    )


def reference_figure(release: Release) -> tuple[Cube, Figure] | None:
    """Each age group of `who_position`, centile by centile; None where the release has no such table."""
    if not release.has("who_position"):
        return None
    rows = release.scan("who_position").collect()
    centiles = sorted(rows["percentile"].unique())
    centile = Dimension(
        "centile",
        tuple(str(p) for p in centiles),
        tuple(say("who.centile", centile=percentile_title(p, is_plain=True)) for p in centiles),
    )
    period, spans = axes.period_axis(release), axes.age_spans(release, release.measures[MEASURE])
    made = cube(
        rows.with_columns(pl.col("percentile").cast(pl.String).alias("centile"), axes.AGE_KEY),
        [axes.sex_axis(), axes.age_axis(spans), period, centile],
        {
            **{name: Column(source, **share_scale()) for name, source in
               (("share", "proportion"), ("low", "low"), ("high", "high"), ("expected", "expected"))},
            "n": Column("n"),
            "people": Column("denominator"),
        },
    )  # fmt: skip
    return made, Figure(
        id="reference",
        question=TEXT["who.question"],
        cube="reference",
        along=("centile",),
        picks=("sex", "age", "period"),
        spec=beam_charts.beside_reference(_columns(), TEXT["who.column.centile"]),
        columns=_columns(),
        source=SOURCE,
        extent=("low", "high", "expected"),
        none=TEXT["none.or_withheld"],
        notes=(TEXT["who.read"], TEXT["who.note"], say("method", method=methods_named(rows["method"]))),
        headline=lambda at: headlines.against_reference(
            made, at, group_words(at["sex"], *spans[at["age"]]), period.label(at["period"])
        ),
    )
