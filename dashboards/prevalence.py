"""The pages "What share of people is in each band?", one for each banding."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from dashboards import axes, beam_charts, headlines, hydration, share_charts, trend_headlines, trends
from dashboards.cubes import Cube
from dashboards.figures import Figure, share_columns
from dashboards.methods_named import methods_named
from dashboards.page import Page, sibling_file, sibling_pages
from dashboards.release import Release
from dashboards.standardised import standardised_figure
from dashboards.wording import TEXT, group_words, say

SOURCE = "data/prevalence.csv"


def prevalence_pages(release: Release) -> Iterator[Page]:
    if not release.has("prevalence"):
        return
    rows = release.overall("prevalence").with_columns(axes.AGE_KEY)
    for name in release.bandings:
        yield _page(release, name, rows.filter(pl.col("banding") == name))


def _page(release: Release, name: str, rows: pl.DataFrame) -> Page:
    banding = release.bandings[name]
    titles = {key: b["title"] for key, b in release.bandings.items()}
    spans = axes.age_spans(release, banding)
    axis = {
        a.name: a
        for a in (axes.sex_axis(), axes.age_axis(spans), axes.period_axis(release), axes.band_axis(banding))
    }
    cube = axes.share_cube(rows, [axis["sex"], axis["age"], axis["period"], axis["band"]])
    controls = axes.controls_for(
        axis["sex"],
        axis["age"],
        axis["period"],
        axis["band"],
        defaults={
            "sex": "all",
            "age": axes.widest_adult(spans),
            "period": release.periods[-1],
            "band": axes.opening_band(banding),
        },
    )
    fitted = trends.fitted_trends(release, name, axis["sex"], axis["age"])
    cubes: dict[str, Cube] = {"shares": cube}
    figures = [
        _now(cube, spans, _methods(rows)),
        _trend(cube, fitted, spans),
        _by_age(release, cube, spans),
    ]
    if fitted:
        cubes["trends"] = fitted.cube
        figures.insert(2, trends.trend_figure(fitted, spans))
    standardised = standardised_figure(release, name, rows, spans, axis["sex"])
    if standardised:
        cubes["standardised"] = standardised[0]
        figures.insert(1, standardised[1])
    if name == hydration.BANDING and hydration.has_water(release):
        cubes["water"], water = hydration.water_figure(release, axis["sex"], axis["period"])
        figures.insert(1, water)
    return Page(
        file=sibling_file("prevalence", titles, name),
        section="prevalence",
        title=say("prevalence.title", banding=banding["title"]),
        question=TEXT["prevalence.question"],
        template="figures.html",
        cubes=cubes,
        controls=controls,
        figures=tuple(figures),
        choices=sibling_pages("prevalence", titles, name),
        choice_label=TEXT["choice.banding"],
        more={"banding": banding},
    )


def _methods(rows: pl.DataFrame) -> str:
    """How the intervals are made, as the release names it: what an interval covers hangs on that."""
    named = methods_named(rows.filter(pl.col("low").is_not_null())["method"])
    return say("prevalence.method", method=named) if named else ""


def _now(cube: Cube, spans: dict[str, tuple[int, int]], methods: str) -> Figure:
    period = cube.dimension("period")
    return Figure(
        id="now",
        question=TEXT["prevalence.now"],
        cube="shares",
        along=("band",),
        picks=("sex", "age", "period"),
        spec=beam_charts.band_beams(share_columns(), "band", TEXT["column.band"]),
        columns=share_columns(),
        source=SOURCE,
        headline=lambda at: headlines.most_common(
            cube, at, group_words(at["sex"], *spans[at["age"]]), period.label(at["period"])
        ),
        notes=tuple(note for note in (TEXT["prevalence.read"], methods) if note),
    )


def _trend(cube: Cube, fitted: trends.Trends | None, spans: dict[str, tuple[int, int]]) -> Figure:
    """Its sentence is the fitted trend; for a group without one, the first period against the last."""

    def headline(at: dict[str, str]) -> str:
        group = group_words(at["sex"], *spans[at["age"]])
        return (fitted.sentence(at, group) if fitted else "") or trend_headlines.first_to_last(cube, at, group)

    heads = (
        ("band", TEXT["column.band"]),
        ("period", TEXT["column.period"]),
    )
    return Figure(
        id="trend",
        question=TEXT["prevalence.trend"],
        cube="shares",
        along=("band", "period"),
        picks=("sex", "age"),
        panels="band",
        spec=share_charts.over_periods(share_columns(), heads, axes.calendar_of(cube.dimension("period"))),
        columns=share_columns(),
        source=SOURCE,
        headline=headline,
        notes=(TEXT["prevalence.read.trend"], trends.changes_note(fitted)),
        is_wide=True,
        is_from_zero=False,
    )


def _by_age(release: Release, cube: Cube, spans: dict[str, tuple[int, int]]) -> Figure:
    ages = axes.single_ages(release, spans)
    heads = (
        ("age", TEXT["column.age"]),
        ("sex", TEXT["column.sex"]),
    )
    band, period = cube.dimension("band"), cube.dimension("period")
    return Figure(
        id="age",
        question=TEXT["prevalence.age"],
        cube="shares",
        along=("age", "sex"),
        picks=("band", "period"),
        only={"age": ages},
        spec=share_charts.over_ages(share_columns(), heads),
        columns=share_columns(),
        source=SOURCE,
        notes=(TEXT["prevalence.read.age"],),
        is_wide=True,
        is_from_zero=False,
        headline=lambda at: headlines.by_age(
            cube, {**at, "sex": "all"}, ages, band.label(at["band"]), period.label(at["period"])
        ),
    )
