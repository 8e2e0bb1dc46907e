"""The page "Did the programme work?": change beside what can pass for it, who is missing from it, and its cause."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import polars as pl

from dashboards import axes
from dashboards.cubes import Cube
from dashboards.figures import Figure
from dashboards.outcome_changes import (
    ADULT,
    Outcomes,
    change_figure,
    children_figure,
    outcomes_of,
    parts_figure,
    reliable_figure,
)
from dashboards.outcome_effects import effect_figure, error_figure
from dashboards.outcome_retention import balance_figure, retention_figure
from dashboards.outcome_sites import site_figures
from dashboards.outcome_transitions import transition_figure
from dashboards.page import Page
from dashboards.release import Release
from dashboards.site_means import site_order
from dashboards.wording import TEXT


def outcome_pages(release: Release) -> Iterator[Page]:
    """One page; none where the release has no outcomes."""
    if release.has("outcome"):
        yield release.once(_outcome_page)


def _outcome_page(release: Release) -> Page:
    shared = outcomes_of(release)
    effect_cubes, effects, attribution = effect_figure(release)
    site_cubes, of_sites = site_figures(release)
    cubes, figures = _of_people(shared, attribution)
    cubes |= site_cubes | effect_cubes
    figures += [*effects, *of_sites]
    if error := error_figure(release):
        cubes["error"] = error[0]
        figures.append(error[1])
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


def _of_people(shared: Outcomes, attribution: str) -> tuple[dict[str, Cube], list[Figure]]:
    """The figures of how people changed and of who came back, in the page's order."""
    cubes: dict[str, Cube] = {}
    figures: list[Figure] = []
    for made in (
        change_figure(shared, attribution),
        reliable_figure(shared),
        parts_figure(shared),
        retention_figure(shared.release),
        balance_figure(shared.release, _effective(shared)),
        transition_figure(shared.release),
        children_figure(shared),
    ):
        if made:
            cubes[made[1].cube] = made[0]
            figures.append(made[1])
    return cubes, figures


def _opening_months(shared: Outcomes) -> str:
    """The longest follow-up at which the change of all adults is shown; the longest of all without one."""
    shown = shared.rows.filter(
        (pl.col("age_from") == ADULT) & (pl.col("start") == "all") & (pl.col("sex") == "all")
        & (pl.col("unit") == "kg") & (pl.col("measure") == "weight") & (pl.col("estimator") == "completers")
        & pl.col("value").is_not_null()
    )  # fmt: skip
    return max(shown["months"], key=int) if shown.height else shared.months.keys[-1]


def _effective(shared: Outcomes) -> dict[str, int]:
    """Months → people of equal weight that the weighted mean change of all adults tells as much as."""
    rows = shared.adults("weight", "kg", ("mean_change",)).filter(
        (pl.col("estimator") == "retention_weighted") & (pl.col("start") == "all") & (pl.col("sex") == "all")
        & pl.col("effective_n").is_not_null()
    )  # fmt: skip
    found: dict[str, Any] = dict(rows.select("months", "effective_n").iter_rows())
    return {months: int(n) for months, n in found.items()}
