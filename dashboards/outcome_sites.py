"""Sites beside each other in how people changed: shrunken estimates, and the probability of the target."""

from __future__ import annotations

import polars as pl

from dashboards import axes, outcome_charts, outcome_headlines, site_charts
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.methods_named import methods_named
from dashboards.numbers import percent
from dashboards.release import Release
from dashboards.wording import TEXT, say

SOURCE = "data/outcome_site.csv"
CHANGE, LOST = "weight_change_percent", "lost_5_percent"
CHANGE_DECIMALS = 1
_FIGURES = ("value", "low", "high", "reference", "shrunken", "shrunken_low", "shrunken_high")


def site_figures(release: Release) -> tuple[dict[str, Cube], list[Figure]]:
    """Mean change, and the share who lost 5 % or more; nothing where the release has no such table."""
    if not release.has("outcome_site"):
        return {}, []
    rows = release.scan("outcome_site").with_columns(pl.col("months").cast(pl.String)).collect()
    made = {
        CHANGE: _cube(release, rows, CHANGE, {"steps_per_unit": 10**CHANGE_DECIMALS, "decimals": CHANGE_DECIMALS}),
        LOST: _cube(release, rows, LOST, share_scale()),
    }  # fmt: skip
    figures = [_change(made[CHANGE], rows), _lost(made[LOST], rows, _reached(release))]
    return {"sites_change": made[CHANGE], "sites_lost": made[LOST]}, figures


def _cube(release: Release, rows: pl.DataFrame, topic: str, scale: dict[str, int]) -> Cube:
    months = axes.months_axis(rows)
    site = axes.site_axis(release)
    return cube(
        rows.filter(pl.col("topic") == topic),
        [months, Dimension("site", site.keys[1:], site.labels[1:])],
        {
            **{name: Column(name, **scale) for name in _FIGURES},
            "q": Column("q_value", 1000, 3),
            "target": Column("target", **share_scale()),
            "probability": Column("target_probability", 100, 0),
            "people": Column("denominator"),
        },
    )


def _columns(mean: str) -> tuple[TableColumn, ...]:
    none = {"missing": TEXT["no_figure"]}
    return (
        TableColumn(TEXT["compare.column.shrunken"], "value", ("shrunken",), True, is_marked=True, **none),
        TableColumn(TEXT["column.interval"], "interval", ("shrunken_low", "shrunken_high"), True),
        TableColumn(TEXT[mean], "value", ("value",), True, **none),
        TableColumn(TEXT["compare.column.q"], "p", ("q",), **none),
        TableColumn(TEXT["outcome.column.seen"], "value", ("people",)),
    )


def _change(made: Cube, rows: pl.DataFrame) -> Figure:
    columns, months = _columns("compare.column.mean"), made.dimension("months")
    methods = methods_named(rows.filter(pl.col("topic") == CHANGE)["method"])
    return Figure(
        id="sites-change",
        question=TEXT["outcome.sites.question"],
        cube="sites_change",
        along=("site",),
        picks=("months",),
        spec=site_charts.shrunken_beams(columns, (("site", TEXT["column.site"]),), "%"),
        columns=columns,
        source=SOURCE,
        order="order",
        extent=("shrunken_low", "shrunken_high", "value", "reference"),
        is_from_zero=False,
        is_folded=True,
        is_wide=True,
        none=TEXT["compare.none"],
        notes=(TEXT["outcome.sites.read"], TEXT["outcome.sites.small"], say("method", method=methods)),
        headline=lambda at: outcome_headlines.sites(
            [cell for _, cell in made.walk(["site"], at)], months.label(at["months"]), CHANGE_DECIMALS, "%"
        ),
    )  # fmt: skip


def _reached(release: Release) -> dict[str, list[int]]:
    """Months → the probability over all sites, in per cent, by each way of taking those not seen."""
    rows = (
        release.scan("outcome")
        .filter((pl.col("statistic") == "reached_target") & pl.col("value").is_not_null())
        .select(pl.col("months").cast(pl.String), (pl.col("value") * 100).round().cast(pl.Int64))
        .collect()
    )
    return {months: part["value"].to_list() for (months,), part in rows.group_by("months")}


def _lost(made: Cube, rows: pl.DataFrame, reached: dict[str, list[int]]) -> Figure:
    months = made.dimension("months")
    target = rows["target"].drop_nulls().first()
    columns, notes = _columns("compare.column.share"), [TEXT["outcome.lost.read"]]
    if target is not None:
        columns += (
            TableColumn(
                TEXT["outcome.column.target"], "value", ("probability",), True, missing=TEXT["no_figure"]
            ),
        )
        notes.append(say("outcome.lost.target", target=percent(round(target * 1000))))

    def headline(at: dict[str, str]) -> str:
        cells = [cell for _, cell in made.walk(["site"], at)]
        words = outcome_headlines.sites(cells, months.label(at["months"]), 1, "%")
        return f"{words} {outcome_headlines.target(cells, reached.get(at['months'], []))}".strip()

    return Figure(
        id="sites-lost",
        question=TEXT["outcome.lost.question"],
        cube="sites_lost",
        along=("site",),
        picks=("months",),
        spec=outcome_charts.with_target(
            site_charts.shrunken_beams(columns, (("site", TEXT["column.site"]),), "%")
        ),
        columns=columns,
        source=SOURCE,
        order="order",
        extent=("shrunken_low", "shrunken_high", "value", "reference", "target"),
        is_from_zero=False,
        is_folded=True,
        is_wide=True,
        none=TEXT["compare.none"],
        notes=tuple(notes),
        headline=headline,
    )
