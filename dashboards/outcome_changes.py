"""How much people changed: the figures of mean change, of shares who changed, of what the change was made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from dashboards import axes, outcome_charts, outcome_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.methods_named import methods_named
from dashboards.release import Release
from dashboards.wording import TEXT, group_words, say

SOURCE = "data/outcome.csv"
ADULT, CHILD = 20, 5  # age_from of the two groups of the table
STARTS = ("all", "bmi_25")
DROP_OUT = outcome_headlines.DROP_OUT
LESS = ("less_regression_to_mean", "same_season", "without_signals", "less_analyser_differences")
STATISTICS = ("better", "unchanged", "worse", "lost_5_percent")
PARTS = ("weight", "fat_mass", "fat_free_mass")
DECIMALS = {"kg": 2, "1": 3}


@dataclass(frozen=True)
class Outcomes:
    """What the figures of the page share."""

    release: Release
    rows: pl.DataFrame
    months: Dimension
    sex: Dimension
    start: Dimension

    def adults(self, measure: str | None, unit: str, statistics: tuple[str, ...]) -> pl.DataFrame:
        """Rows of adults; of every measure where none is named."""
        return self.rows.filter(
            (pl.col("age_from") == ADULT)
            & (pl.col("unit") == unit)
            & pl.col("statistic").is_in(statistics)
            & (pl.col("measure") == measure if measure else pl.lit(True))
        )

    def scaled(self, unit: str) -> dict[str, int]:
        return {"steps_per_unit": 10 ** DECIMALS[unit], "decimals": DECIMALS[unit]}

    def cube_of(self, rows: pl.DataFrame, dimensions: list[Dimension], scale: Mapping[str, int]) -> Cube:
        return cube(
            rows.with_columns(zero=pl.lit(0)),
            dimensions,
            {
                **{name: Column(name, **scale) for name in ("value", "low", "high", *({"target"} & {*rows.columns}))},
                "seen": Column("n"),
                "due": Column("denominator"),
                "effective": Column("effective_n"),
                "zero": Column("zero"),
            },
        )


def outcomes_of(release: Release) -> Outcomes:
    """The rows of a release's outcomes and the axes on which they are drawn."""
    rows = release.scan("outcome").with_columns(pl.col("months").cast(pl.String)).collect()
    starts = Dimension("start", STARTS, tuple(TEXT[f"start.{start}"] for start in STARTS))
    return Outcomes(release, rows, axes.months_axis(rows), axes.sex_axis(), starts)


def _columns(label: str, *, is_percent: bool = False) -> tuple[TableColumn, ...]:
    return (
        TableColumn(TEXT[label], "value", ("value",), is_percent, is_marked=True),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), is_percent),
        TableColumn(TEXT["outcome.column.seen"], "value", ("seen",)),
        TableColumn(TEXT["outcome.column.due"], "value", ("due",)),
    )


def _who(at: Mapping[str, str]) -> str:
    return TEXT[f"who.{at['sex']}.{at['start']}"]


def change_figure(shared: Outcomes, attribution: str) -> tuple[Cube, Figure]:
    rows = shared.adults("weight", "kg", ("mean_change",))
    names = (*DROP_OUT, *LESS)
    estimator = Dimension("estimator", names, tuple(TEXT[f"estimator.{name}"] for name in names))
    made = shared.cube_of(rows, [shared.start, shared.sex, shared.months, estimator], shared.scaled("kg"))
    expected = shared.cube_of(
        shared.adults("weight", "kg", ("regression_to_mean",)),
        [shared.start, shared.sex, shared.months],
        shared.scaled("kg"),
    )
    columns = _columns("outcome.column.change")

    def headline(at: Mapping[str, str]) -> str:
        cells = {name: made.cell({**at, "estimator": name}) for name in DROP_OUT}
        words = outcome_headlines.mean_change(
            cells,
            expected.cell(at),
            (at["sex"], at["start"]),
            shared.months.label(at["months"]),
            DECIMALS["kg"],
            "kg",
        )
        return f"{words} {attribution}"

    heads = (("estimator", TEXT["column.estimator"]),)
    return made, Figure(
        id="change",
        question=TEXT["change.question"],
        cube="changes",
        along=("estimator",),
        picks=("start", "sex", "months"),
        spec=outcome_charts.estimates(columns, heads, "estimator", "kg"),
        columns=columns,
        source=SOURCE,
        extent=("low", "high", "zero"),
        is_from_zero=False,
        none=TEXT["none.not_made"],
        notes=(
            TEXT["change.read"],
            TEXT["change.read.more"],
            say("method", method=methods_named(rows["method"])),
        ),
        headline=headline,
    )


def reliable_figure(shared: Outcomes) -> tuple[Cube, Figure] | None:
    rows = shared.adults("weight", "1", ("fell", "unchanged", "rose", "lost_5_percent"))
    if rows.is_empty():
        return None
    direction = rows["direction"].drop_nulls().first() or "down"
    better, worse = ("fell", "rose") if direction == "down" else ("rose", "fell")
    rows = rows.with_columns(pl.col("statistic").replace({better: "better", worse: "worse"})).join(
        _targets(shared.release), on=["months", "statistic"], how="left", maintain_order="left"
    )
    labels = {name: f"reliable.{name}.{direction}" if name in ("better", "worse") else f"reliable.{name}"
              for name in STATISTICS}  # fmt: skip
    statistic = Dimension("statistic", STATISTICS, tuple(TEXT[labels[name]] for name in STATISTICS))
    estimator = Dimension("estimator", DROP_OUT, tuple(TEXT[f"estimator.{name}"] for name in DROP_OUT))
    made = shared.cube_of(rows, [shared.sex, shared.months, statistic, estimator], share_scale())
    has_target = rows["target"].is_not_null().any()
    columns = _columns("outcome.column.share", is_percent=True)
    heads = (("statistic", TEXT["column.statistic"]), ("estimator", TEXT["column.estimator"]))

    def headline(at: Mapping[str, str]) -> str:
        return outcome_headlines.reliable(made, at, shared.months.label(at["months"]))

    return made, Figure(
        id="reliable",
        question=TEXT["reliable.question"],
        cube="shares",
        along=("statistic", "estimator"),
        picks=("sex", "months"),
        panels="statistic",
        spec=outcome_charts.estimates(columns, heads, "estimator", "%", is_share=True),
        columns=columns,
        source=SOURCE,
        extent=("low", "high", "zero", "target"),
        is_folded=True,
        is_wide=True,
        none=TEXT["none.not_made"],
        notes=(
            say("reliable.read", direction=TEXT[f"reliable.direction.{direction}"]),
            *((TEXT["reliable.target"],) if has_target else ()),
            say("method", method=methods_named(rows["method"])),
        ),
        headline=headline,
    )


def _targets(release: Release) -> pl.DataFrame:
    """months, statistic, target: where the settings name one, for the share who lost 5 % or more."""
    if not release.has("outcome_site"):
        return pl.DataFrame(schema={"months": pl.String, "statistic": pl.String, "target": pl.Float64})
    rows = release.scan("outcome_site").filter(pl.col("target").is_not_null())
    return rows.select(pl.col("months").cast(pl.String), statistic="topic", target="target").unique().collect()


def parts_figure(shared: Outcomes) -> tuple[Cube, Figure]:
    rows = shared.adults(None, "kg", ("mean_change",)).filter(
        pl.col("measure").is_in(PARTS) & (pl.col("estimator") == "completers")
    )
    part = Dimension("part", PARTS, tuple(TEXT[f"part.{name}"] for name in PARTS))
    made = shared.cube_of(
        rows.rename({"measure": "part"}),
        [shared.start, shared.sex, shared.months, part],
        shared.scaled("kg"),
    )
    fat = shared.adults("fat_mass", "1", ("fat_share_of_loss",))
    share = shared.cube_of(fat, [shared.start, shared.sex, shared.months], share_scale())
    columns = _columns("outcome.column.change")

    def headline(at: Mapping[str, str]) -> str:
        here = {**at, "start": "bmi_25"}
        return outcome_headlines.fat_share(share.cell(here), _who(here), shared.months.label(at["months"]))

    return made, Figure(
        id="parts",
        question=TEXT["parts.question"],
        cube="parts",
        along=("part",),
        picks=("start", "sex", "months"),
        spec=outcome_charts.estimates(columns, (("part", TEXT["column.part"]),), "part", "kg"),
        columns=columns,
        source=SOURCE,
        extent=("low", "high", "zero"),
        is_from_zero=False,
        none=TEXT["none.not_made"],
        notes=(TEXT["parts.read"],),
        headline=headline,
    )


def children_figure(shared: Outcomes) -> tuple[Cube, Figure] | None:
    rows = shared.rows.filter((pl.col("age_from") == CHILD) & (pl.col("measure") == "bmi_z"))
    if rows.is_empty():
        return None
    names = ("completers", "carried_forward")
    estimator = Dimension("estimator", names, tuple(TEXT[f"estimator.{name}"] for name in names))
    made = shared.cube_of(rows, [shared.sex, shared.months, estimator], shared.scaled("1"))
    columns = _columns("outcome.column.change")
    ages = rows["age_from"].min(), rows["age_to"].max()

    def headline(at: Mapping[str, str]) -> str:
        cell = made.cell({**at, "estimator": "completers"})
        return outcome_headlines.children(
            cell, group_words(at["sex"], *ages), shared.months.label(at["months"]), DECIMALS["1"]
        )

    return made, Figure(
        id="children",
        question=TEXT["children.question"],
        cube="children",
        along=("estimator",),
        picks=("sex", "months"),
        spec=outcome_charts.estimates(columns, (("estimator", TEXT["column.estimator"]),), "estimator", ""),
        columns=columns,
        source=SOURCE,
        extent=("low", "high", "zero"),
        is_from_zero=False,
        none=TEXT["none.not_made"],
        notes=(TEXT["children.read"],),
        headline=headline,
    )
