"""The trend that a release fitted over its periods: a sentence for the group, the figures behind it as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from dashboards import axes, trend_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn
from dashboards.methods_named import methods_named
from dashboards.numbers import period_title
from dashboards.release import Release
from dashboards.wording import TEXT, group_words, say

SOURCE = "data/trend.csv"
FIGURES = {
    "odds_ratio": Column("odds_ratio", 1000, 3),
    "low": Column("low", 1000, 3),
    "high": Column("high", 1000, 3),
    "points": Column("points_a_period", 10_000, 2),
    "p": Column("p", 1000, 3),
    "people": Column("denominator"),
}


@dataclass(frozen=True)
class Trends:
    """The trends of one banding by sex, age group and band, from and to which period, and by what method."""

    cube: Cube
    first: str
    last: str
    method: str

    def sentence(self, at: Mapping[str, str], group: str) -> str:
        """The trend of a group in words; empty where none was fitted for it."""
        return trend_headlines.fitted_trend(self.cube, at, group, self.first, self.last)


def _columns() -> tuple[TableColumn, ...]:
    return (
        TableColumn(TEXT["trend.column.odds"], "value", ("odds_ratio",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high")),
        TableColumn(TEXT["trend.column.points"], "value", ("points",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["column.p"], "p", ("p",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["trend.column.people"], "value", ("people",), missing=TEXT["no_figure"]),
    )


def fitted_trends(release: Release, name: str, sex: Dimension, age: Dimension) -> Trends | None:
    """None where the release fitted no trend in this banding."""
    if not release.has("trend"):
        return None
    rows = release.rows("trend").filter(pl.col("banding") == name).with_columns(axes.AGE_KEY)
    if rows.is_empty():
        return None
    return Trends(
        cube(rows, [sex, age, axes.band_axis(release.bandings[name])], FIGURES),
        period_title(rows["period_from"].min()),
        period_title(rows["period_to"].max()),
        methods_named(rows["method"]),
    )


def changes_note(trends: Trends | None) -> str:
    """What it takes for a change to be named."""
    return TEXT["index.changes.fitted" if trends else "index.changes.note"]


def trend_figure(trends: Trends, spans: Mapping[str, tuple[int, int]]) -> Figure:
    """Odds ratios and points a period, band by band: a table behind the sentence."""
    return Figure(
        id="trend-fitted",
        question=TEXT["trend.question"],
        cube="trends",
        along=("band",),
        picks=("sex", "age"),
        spec=None,
        columns=_columns(),
        source=SOURCE,
        is_folded=True,
        is_wide=True,
        none=TEXT["none.not_made"],
        notes=(TEXT["trend.read"], say("method", method=trends.method)),
        headline=lambda at: trend_headlines.firm_trends(trends.cube, at, group_words(at["sex"], *spans[at["age"]])),
    )
