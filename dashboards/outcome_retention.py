"""Who was seen again, and how like everybody they are."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from dashboards import axes, beam_charts, outcome_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.methods_named import methods_named
from dashboards.release import ALL_SITES, Release
from dashboards.wording import TEXT, say

STATUSES = (
    "followed", "seen", "seen_elsewhere", "not_counted", "missed", "gone", "not_due", "site_silent",
)  # fmt: skip
STAGES = ("20", "5")
BALANCE_DECIMALS = 2


def retention_figure(release: Release) -> tuple[Cube, Figure] | None:
    """Who came back, of all sites; None where the release has none."""
    if not release.has("retention"):
        return None
    rows = (
        release.scan("retention")
        .filter((pl.col("site") == ALL_SITES) & pl.col("entry_period").is_null())
        .with_columns(pl.col("months").cast(pl.String), stage=pl.col("age_from").cast(pl.String))
        .collect()
    )
    months = axes.months_axis(rows)
    status = Dimension("status", STATUSES, tuple(TEXT[f"status.{name}"] for name in STATUSES))
    stage = Dimension("stage", STAGES, tuple(TEXT[f"stage.{name}"] for name in STAGES))
    made = cube(
        rows,
        [months, stage, status],
        {
            "value": Column("proportion", **share_scale()),
            "share": Column("proportion", **share_scale()),
            "low": Column("low", **share_scale()),
            "high": Column("high", **share_scale()),
            "n": Column("n"),
            "of": Column("denominator"),
        },
    )
    columns = (
        TableColumn(TEXT["outcome.column.share"], "value", ("share",), True, is_marked=True),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), True),
        TableColumn(TEXT["outcome.column.people"], "value", ("n",)),
        TableColumn(TEXT["outcome.column.of"], "value", ("of",)),
    )
    return made, Figure(
        id="retention",
        question=TEXT["retention.question"],
        cube="retention",
        along=("stage", "status"),
        picks=("months",),
        panels="stage",
        spec=beam_charts.band_beams(columns, "status", TEXT["column.status"]),
        columns=columns,
        source="data/retention.csv",
        is_folded=True,
        is_wide=True,
        notes=(TEXT["retention.read"],),
        headline=lambda at: outcome_headlines.retention(
            made.cell({**at, "stage": "20", "status": "followed"}), months.label(at["months"])
        ),
    )


def balance_figure(release: Release, effective: Mapping[str, int]) -> tuple[Cube, Figure] | None:
    """How alike those due and those seen are; None where the release has none of it.

    effective: months → people of equal weight that the weighted figures tell as much as.
    """
    if not release.has("retention_balance"):
        return None
    rows = (
        release.scan("retention_balance")
        .with_columns(
            pl.col("months").cast(pl.String), known=pl.col("covariate") + pl.lit(": ") + pl.col("level")
        )
        .collect()
    )
    months = axes.months_axis(rows)
    keys = tuple(dict.fromkeys(rows.sort("covariate", "level")["known"]))
    shares = {name: Column(source, 100, 0) for name, source in (
        ("share_due", "share_due"), ("share_seen", "share_seen"), ("share_weighted", "share_weighted"))}  # fmt: skip
    step = {"steps_per_unit": 10**BALANCE_DECIMALS, "decimals": BALANCE_DECIMALS}
    made = cube(
        rows,
        [months, Dimension("known", keys, tuple(_known_words(key) for key in keys))],
        {
            **shares,
            "before": Column("difference_before", **step),
            "after": Column("difference_after", **step),
            "seen": Column("n"),
            "due": Column("denominator"),
        },
    )
    columns = (
        TableColumn(TEXT["outcome.column.all_due"], "value", ("share_due",), True),
        TableColumn(TEXT["outcome.column.as_seen"], "value", ("share_seen",), True),
        TableColumn(TEXT["outcome.column.weighted"], "value", ("share_weighted",), True),
        TableColumn(TEXT["outcome.column.before"], "value", ("before",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["outcome.column.after"], "value", ("after",), missing=TEXT["no_figure"]),
    )
    return made, Figure(
        id="balance",
        question=TEXT["balance.question"],
        cube="balance",
        along=("known",),
        picks=("months",),
        spec=None,
        columns=columns,
        source="data/retention_balance.csv",
        is_folded=True,
        is_wide=True,
        notes=(TEXT["balance.read"],),
        headline=lambda at: outcome_headlines.balance(
            [cell for _, cell in made.walk(["known"], at)],
            effective.get(at["months"]),
            months.label(at["months"]),
            BALANCE_DECIMALS,
        ),
    )


def _known_words(key: str) -> str:
    """"bmi: 25 to 30" → "BMI 25 to 30"."""
    what, _, level = key.partition(": ")
    name = what.replace(" ", "_")
    named = {"sex": "sex", "kind_of_site": "site.kind"}.get(name)
    words = TEXT[f"{named}.{level}"] if f"{named}.{level}" in TEXT else methods_named([level])
    return say("known", what=TEXT.get(f"known.{name}", what), level=words)
