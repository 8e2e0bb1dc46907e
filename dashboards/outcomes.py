"""The page "Did the programme work?": change beside what can pass for it, who is missing from it, and its cause."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboards import axes, outcome_charts, outcome_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn, share_scale
from dashboards.methods_named import methods_named
from dashboards.outcome_effects import effect_figure, error_figure
from dashboards.outcome_retention import balance_figure, retention_figure
from dashboards.outcome_sites import site_figures
from dashboards.outcome_transitions import transition_figure
from dashboards.page import Page
from dashboards.release import Release
from dashboards.site_means import site_order
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


def outcome_pages(release: Release) -> Iterator[Page]:
    """One page; none where the release has no outcomes."""
    if release.has("outcome"):
        yield release.once(_outcome_page)


def _outcome_page(release: Release) -> Page:
    rows = release.scan("outcome").with_columns(pl.col("months").cast(pl.String)).collect()
    shared = Outcomes(
        release, rows, axes.months_axis(rows), axes.sex_axis(),
        Dimension("start", STARTS, tuple(TEXT[f"start.{start}"] for start in STARTS)),
    )  # fmt: skip
    cubes: dict[str, Cube] = {}
    figures: list[Figure] = []
    effect_cubes, effects, attribution = effect_figure(release)
    for made in (
        _change(shared, attribution),
        _reliable(shared),
        _parts(shared),
        retention_figure(release),
        balance_figure(release, _effective(shared)),
        transition_figure(release),
        _children(shared),
    ):
        if made:
            cubes[made[1].cube] = made[0]
            figures.append(made[1])
    site_cubes, of_sites = site_figures(release)
    error = error_figure(release)
    cubes |= site_cubes | effect_cubes | ({"error": error[0]} if error else {})
    figures += [*effects, *of_sites, *([error[1]] if error else [])]
    opening = _opening_months(shared)
    controls = axes.controls_for(
        shared.months, shared.start, shared.sex, defaults={"months": opening, "start": "bmi_25", "sex": "all"}
    )
    if of_sites:
        controls["order"] = site_order()
    change = next(figure for figure in figures if figure.id == "change")
    return Page(
        file="outcomes.html",
        section="outcomes",
        title=TEXT["outcomes.title"],
        question=TEXT["outcomes.question"],
        lead=change.headline({"months": opening, "start": "all", "sex": "all"}),
        template="outcomes.html",
        cubes=cubes,
        controls=controls,
        figures=tuple(figures),
        more={
            "cautions": [TEXT[f"outcomes.caution.{name}"] for name in ("came", "alone", "low", "person")],
            "attribution": attribution,
        },
    )


def _opening_months(shared: Outcomes) -> str:
    """The longest follow-up at which the change of all adults is shown; the longest of all without one."""
    shown = shared.rows.filter(
        (pl.col("age_from") == ADULT) & (pl.col("start") == "all") & (pl.col("sex") == "all")
        & (pl.col("unit") == "kg") & (pl.col("measure") == "weight") & (pl.col("estimator") == "completers")
        & pl.col("value").is_not_null()
    )  # fmt: skip
    return max(shown["months"], key=int) if shown.height else shared.months.keys[-1]


def _adults(shared: Outcomes, measure: str | None, unit: str, statistics: tuple[str, ...]) -> pl.DataFrame:
    return shared.rows.filter(
        (pl.col("age_from") == ADULT)
        & (pl.col("unit") == unit)
        & pl.col("statistic").is_in(statistics)
        & (pl.col("measure") == measure if measure else pl.lit(True))
    )


def _columns(label: str, *, is_percent: bool = False) -> tuple[TableColumn, ...]:
    return (
        TableColumn(TEXT[label], "value", ("value",), is_percent, is_marked=True),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), is_percent),
        TableColumn(TEXT["outcome.column.seen"], "value", ("seen",)),
        TableColumn(TEXT["outcome.column.due"], "value", ("due",)),
    )


def _who(at: Mapping[str, str]) -> str:
    return TEXT[f"who.{at['sex']}.{at['start']}"]


def _change(shared: Outcomes, attribution: str) -> tuple[Cube, Figure]:
    rows = _adults(shared, "weight", "kg", ("mean_change",))
    names = (*DROP_OUT, *LESS)
    estimator = Dimension("estimator", names, tuple(TEXT[f"estimator.{name}"] for name in names))
    made = shared.cube_of(rows, [shared.start, shared.sex, shared.months, estimator], shared.scaled("kg"))
    expected = shared.cube_of(
        _adults(shared, "weight", "kg", ("regression_to_mean",)),
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


def _reliable(shared: Outcomes) -> tuple[Cube, Figure] | None:
    rows = _adults(shared, "weight", "1", ("fell", "unchanged", "rose", "lost_5_percent"))
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


def _parts(shared: Outcomes) -> tuple[Cube, Figure]:
    rows = _adults(shared, None, "kg", ("mean_change",)).filter(
        pl.col("measure").is_in(PARTS) & (pl.col("estimator") == "completers")
    )
    part = Dimension("part", PARTS, tuple(TEXT[f"part.{name}"] for name in PARTS))
    made = shared.cube_of(
        rows.rename({"measure": "part"}),
        [shared.start, shared.sex, shared.months, part],
        shared.scaled("kg"),
    )
    fat = _adults(shared, "fat_mass", "1", ("fat_share_of_loss",))
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


def _children(shared: Outcomes) -> tuple[Cube, Figure] | None:
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


def _effective(shared: Outcomes) -> dict[str, int]:
    """Months → people of equal weight that the weighted mean change of all adults tells as much as."""
    rows = _adults(shared, "weight", "kg", ("mean_change",)).filter(
        (pl.col("estimator") == "retention_weighted") & (pl.col("start") == "all") & (pl.col("sex") == "all")
        & pl.col("effective_n").is_not_null()
    )  # fmt: skip
    found: dict[str, Any] = dict(rows.select("months", "effective_n").iter_rows())
    return {months: int(n) for months, n in found.items()}
