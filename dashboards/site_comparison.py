"""Sites set fairly beside each other, in one band or by the mean of a measure: funnel, shrunken figures, spread.

Sites stand in the order of their names or of how many people they measured, never of a figure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import polars as pl

from dashboards import axes, site_charts, site_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.methods_named import methods_named
from dashboards.release import Release
from dashboards.wording import TEXT, group_words, say

SOURCE = "data/site_comparison.csv"
SPREAD_SOURCE = "data/site_heterogeneity.csv"
FIGURES = {
    "value": "value", "low": "low", "high": "high", "reference": "reference", "limit_low": "funnel_low_95",
    "limit_high": "funnel_high_95", "outer_low": "funnel_low_998", "outer_high": "funnel_high_998",
    "shrunken": "shrunken", "shrunken_low": "shrunken_low", "shrunken_high": "shrunken_high",
}  # fmt: skip
Cells = Callable[..., list[site_headlines.Cell]]  # the sites of a choice of band and period


@dataclass(frozen=True)
class Scale:
    """How the figures of a topic are written. A measure can have the unit "%" and is a mean all the same."""

    unit: str
    steps_per_unit: int
    decimals: int
    kind: str = "mean"  # or "share"

    @property
    def is_percent(self) -> bool:
        return self.unit == "%"

    @property
    def writer(self) -> site_headlines.Writer:
        return site_headlines.Writer(self.decimals, self.unit)


def share_of_band() -> Scale:
    return Scale("%", **share_scale(), kind="share")


@dataclass(frozen=True)
class Topic:
    """What the sites are compared by: a banding with its bands, or a measure (bands is then one empty key)."""

    name: str
    bands: Dimension
    scale: Scale
    site_files: Mapping[str, str]
    picks: tuple[str, ...]  # the controls that choose among its cells


def comparison(release: Release, topic: Topic) -> tuple[dict[str, Cube], list[Figure]]:
    """The figures of one topic and the cubes they need; nothing where the release compares no sites by it."""
    if not release.has("site_comparison"):
        return {}, []
    rows = rows_compared(release, topic.name)
    if rows.is_empty():
        return {}, []
    period, site = periods_compared(release, rows), axes.site_axis(release)
    sites = Dimension("site", site.keys[1:], site.labels[1:])
    compared = cube(rows, [topic.bands, period, sites], _columns(topic.scale))
    group = group_words("all", rows["age_from"].min(), rows["age_to"].max())
    methods = methods_named(rows["method"])

    @cache
    def cells(period: str, band: str = "") -> list[site_headlines.Cell]:
        return compared.line("site", {"band": band, "period": period}, *FIGURES)

    figures = [_funnel(topic, compared, cells, group, methods), _shrunken(topic, compared, cells, group)]
    cubes = {"compared": compared}
    spread = _spread(release, topic, period)
    if spread:
        cubes["spread"] = spread
        figures.append(_heterogeneity(topic, spread, group))
    return cubes, figures


def rows_compared(release: Release, topic: str) -> pl.DataFrame:
    return release.rows("site_comparison").filter(pl.col("topic") == topic)


def periods_compared(release: Release, rows: pl.DataFrame) -> Dimension:
    every, present = axes.period_axis(release), set(rows["period"])
    keys = tuple(key for key in every.keys if key in present)
    return Dimension("period", keys, tuple(every.label(key) for key in keys))


def _columns(scale: Scale) -> dict[str, Column]:
    written = {name: Column(source, scale.steps_per_unit, scale.decimals) for name, source in FIGURES.items()}
    return {**written, "people": Column("denominator"), "q": Column("q_value", 1000, 3)}


def _table(topic: Topic) -> tuple[TableColumn, ...]:
    is_percent = topic.scale.is_percent
    return (
        TableColumn(TEXT["column.people"], "value", ("people",)),
        TableColumn(
            TEXT[f"compare.column.{topic.scale.kind}"], "value", ("value",), is_percent, is_marked=True
        ),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), is_percent),
        TableColumn(TEXT["compare.column.95"], "interval", ("limit_low", "limit_high"), is_percent),
        TableColumn(TEXT["compare.column.998"], "interval", ("outer_low", "outer_high"), is_percent),
        TableColumn(TEXT["compare.column.q"], "p", ("q",), missing=TEXT["no_figure"]),
    )


def _funnel(topic: Topic, compared: Cube, cells: Cells, group: str, methods: str) -> Figure:
    columns = _table(topic)
    period, heads = compared.dimension("period"), (("site", TEXT["column.site"]),)
    return Figure(
        id="funnel",
        question=TEXT[f"compare.funnel.{topic.scale.kind}"],
        cube="compared",
        along=("site",),
        picks=topic.picks,
        fixed={} if "band" in topic.picks else {"band": ""},
        spec=site_charts.funnel(columns, heads, TEXT["compare.people"], topic.scale.unit),
        columns=columns,
        source=SOURCE,
        order="order",
        extent=("value", "limit_low", "limit_high"),
        is_from_zero=False,
        is_wide=True,
        none=TEXT["compare.none"],
        notes=(
            TEXT["compare.read"],
            TEXT["compare.can"],
            TEXT["compare.cannot"],
            say("method", method=methods),
        ),
        links=topic.site_files,
        headline=lambda at: site_headlines.funnel(
            cells(**at), group, _label(period, at), topic.scale.writer
        ),
    )


def _shrunken(topic: Topic, compared: Cube, cells: Cells, group: str) -> Figure:
    is_percent, period = topic.scale.is_percent, compared.dimension("period")
    columns = (
        TableColumn(TEXT["compare.column.shrunken"], "value", ("shrunken",), is_percent,
                    missing=TEXT["no_figure"]),
        TableColumn(TEXT["column.interval"], "interval", ("shrunken_low", "shrunken_high"), is_percent),
        TableColumn(TEXT[f"compare.column.{topic.scale.kind}"], "value", ("value",), is_percent, is_marked=True),
        TableColumn(TEXT["column.people"], "value", ("people",)),
    )  # fmt: skip
    return Figure(
        id="shrunken",
        question=TEXT["compare.shrunken"],
        cube="compared",
        along=("site",),
        picks=topic.picks,
        fixed={} if "band" in topic.picks else {"band": ""},
        spec=site_charts.shrunken_beams(columns, (("site", TEXT["column.site"]),), topic.scale.unit),
        columns=columns,
        source=SOURCE,
        order="order",
        extent=("shrunken_low", "shrunken_high", "value", "reference"),
        is_from_zero=False,
        is_folded=True,
        is_wide=True,
        none=TEXT["compare.none"],
        notes=(TEXT["compare.shrunken.read"],),
        links=topic.site_files,
        headline=lambda at: site_headlines.shrunken(
            cells(**at), group, _label(period, at), topic.scale.writer
        ),
    )


def _spread(release: Release, topic: Topic, period: Dimension) -> Cube | None:
    if not release.has("site_heterogeneity"):
        return None
    rows = release.rows("site_heterogeneity").filter(pl.col("topic") == topic.name)
    if rows.is_empty():
        return None
    scale = {"steps_per_unit": topic.scale.steps_per_unit, "decimals": topic.scale.decimals}
    finer = {"steps_per_unit": topic.scale.steps_per_unit * 10, "decimals": topic.scale.decimals + 1}
    return cube(
        rows,
        [topic.bands, period],
        {
            **{name: Column(name, **scale) for name in ("mean", "low", "high")},
            "sd": Column("between_sd", **finer),
            "i2": Column("i_squared", 100, 0),
            "q": Column("q", 10, 1),
            "p": Column("p", 1000, 3),
            "factor": Column("overdispersion", 100, 2),
            "sites": Column("sites"),
        },
    )


def _heterogeneity(topic: Topic, spread: Cube, group: str) -> Figure:
    is_percent, period = topic.scale.is_percent, spread.dimension("period")
    none = {"missing": TEXT["no_figure"]}
    return Figure(
        id="between",
        question=TEXT["compare.between"],
        cube="spread",
        along=("period",),
        picks=tuple(name for name in topic.picks if name == "band"),
        fixed={} if "band" in topic.picks else {"band": ""},
        spec=None,
        columns=(
            TableColumn(TEXT["compare.column.sites"], "value", ("sites",), **none),
            TableColumn(TEXT["compare.column.overall"], "value", ("mean",), is_percent, **none),
            TableColumn(TEXT["column.interval"], "interval", ("low", "high"), is_percent),
            TableColumn(TEXT["compare.column.sd"], "value", ("sd",), **none),
            TableColumn(TEXT["compare.column.i2"], "value", ("i2",), True, **none),
            TableColumn(TEXT["compare.column.Q"], "value", ("q",), **none),
            TableColumn(TEXT["column.p"], "p", ("p",), **none),
            TableColumn(TEXT["compare.column.factor"], "value", ("factor",), **none),
        ),
        source=SPREAD_SOURCE,
        is_folded=True,
        is_wide=True,
        none=TEXT["compare.none"],
        notes=(TEXT["compare.between.read"],),
        headline=lambda at: site_headlines.between(
            [(period.label(k["period"]), cell) for k, cell in spread.walk(["period"], {"band": "", **at})],
            spread.decimals["sd"],
            TEXT["compare.points"] if is_percent else topic.scale.unit,
            group,
        ),
    )


def _label(period: Dimension, at: Mapping[str, str]) -> str | None:
    """None for a period in which sites are not compared."""
    return period.label(at["period"]) if at["period"] in period.keys else None
