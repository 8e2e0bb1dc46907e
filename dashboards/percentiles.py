"""The pages "How are people spread out?", one for each measure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import polars as pl

from dashboards import axes, headlines, percentile_charts, trend_headlines
from dashboards.cubes import Cube
from dashboards.curves import curve_figure
from dashboards.figures import Figure, TableColumn
from dashboards.page import Page, sibling_file, sibling_pages
from dashboards.reference_position import MEASURE, reference_figure
from dashboards.release import Release
from dashboards.wording import TEXT, group_words, percentile_title, say, unit_word

SOURCE = "data/percentile.csv"


def measure_titles(release: Release) -> dict[str, str]:
    """Measure → title; the unit tells measures of the same name apart."""
    titles = [m["title"] for m in release.measures.values()]
    return {
        name: m["title"] + (f", {unit_word(m['unit'])}" if titles.count(m["title"]) > 1 else "")
        for name, m in release.measures.items()
    }


def unit_after(measure: Mapping[str, Any]) -> str:
    """The unit as it follows a number, its space included; empty for a pure number."""
    word = unit_word(measure["unit"])
    return f"\u00a0{word}" if word and word != "level" else ""


def percentile_columns(percentiles: Sequence[int]) -> tuple[TableColumn, ...]:
    figures = [
        TableColumn(percentile_title(p), "value_interval", (f"p{p}", f"p{p}_low", f"p{p}_high"))
        for p in percentiles
    ]
    return (*figures, TableColumn(TEXT["column.people"], "value", ("people",)))


def percentile_names(release: Release) -> tuple[str, ...]:
    """The columns that a scale must hold: the outer percentiles of small groups are often withheld."""
    return tuple(f"p{p}" for p in release.facts["percentiles"])


def percentile_pages(release: Release) -> Iterator[Page]:
    if not release.has("percentile"):
        return
    rows = release.overall("percentile").with_columns(axes.AGE_KEY)
    for name in release.measures:
        yield _page(release, name, rows.filter(pl.col("measure") == name))


def _page(release: Release, name: str, rows: pl.DataFrame) -> Page:
    measure, titles = release.measures[name], measure_titles(release)
    spans = axes.age_spans(release, measure)
    axis = {a.name: a for a in (axes.sex_axis(), axes.age_axis(spans), axes.period_axis(release))}
    cube = axes.percentile_cube(
        rows, [axis["sex"], axis["age"], axis["period"]], measure, release.facts["percentiles"]
    )
    controls = axes.controls_for(
        *axis.values(),
        defaults={"sex": "all", "age": axes.widest_adult(spans), "period": release.periods[-1]},
    )
    notes = [TEXT["percentiles.not_norm"]]
    if name.startswith("total_body_water") or name == "water_in_fat_free_mass":
        notes.append(TEXT["prevalence.water.note"])
    cubes = {"spread": cube}
    shown = release.facts["percentiles"]
    figures = [by_age_figure(release, cube, spans, measure, shown), _trend(release, cube, spans, measure)]
    first = [curve_figure(release, name, unit_after(measure))]
    first += [reference_figure(release)] if name == MEASURE else []
    for made in reversed([found for found in first if found]):
        cubes[made[1].cube] = made[0]
        figures.insert(0, made[1])
    return Page(
        file=sibling_file("percentiles", titles, name),
        section="percentiles",
        title=say("percentiles.title", measure=titles[name]),
        question=TEXT["percentiles.question"],
        template="figures.html",
        lead=" ".join(notes),
        cubes=cubes,
        controls=controls,
        figures=tuple(figures),
        choices=sibling_pages("percentiles", titles, name),
        choice_label=TEXT["choice.measure"],
        more={"measure": measure},
    )


def by_age_figure(
    release: Release,
    cube: Cube,
    spans: dict[str, tuple[int, int]],
    measure: Mapping[str, Any],
    percentiles: Sequence[int],
) -> Figure:
    """The spread of a measure by age. cube: by sex, age and period; percentiles: those that the table shows."""
    columns, unit, period = percentile_columns(percentiles), unit_after(measure), cube.dimension("period")
    whole = axes.widest_adult(spans)
    return Figure(
        id="by-age",
        question=TEXT["percentiles.age"],
        cube="spread",
        along=("age",),
        picks=("sex", "period"),
        only={"age": axes.ages_and_whole(release, spans)},
        spec=percentile_charts.nested_strips(columns, "age", TEXT["column.age"], unit.strip()),
        columns=columns,
        source=SOURCE,
        extent=percentile_names(release),
        is_from_zero=False,
        is_wide=True,
        none=TEXT["none.or_withheld"],
        notes=(TEXT["percentiles.read"], TEXT["percentiles.read.interval"]),
        headline=lambda at: headlines.spread(
            cube.cell({**at, "age": whole}),
            group_words(at["sex"], *spans[whole]),
            period.label(at["period"]),
            unit,
            measure["decimals"],
        ),
    )


def _trend(
    release: Release, cube: Cube, spans: dict[str, tuple[int, int]], measure: Mapping[str, Any]
) -> Figure:
    columns, unit = percentile_columns(release.facts["percentiles"]), unit_after(measure)
    return Figure(
        id="trend",
        question=TEXT["percentiles.trend"],
        cube="spread",
        along=("period",),
        picks=("sex", "age"),
        spec=percentile_charts.nested_strips(
            columns, "period", TEXT["column.period"], unit.strip(), axes.calendar_of(cube.dimension("period"))
        ),
        columns=columns,
        source=SOURCE,
        extent=percentile_names(release),
        is_from_zero=False,
        is_wide=True,
        none=TEXT["none.or_withheld"],
        notes=(TEXT["index.changes.note"],),
        headline=lambda at: trend_headlines.median_trend(
            cube, at, group_words(at["sex"], *spans[at["age"]]), unit, measure["decimals"]
        ),
    )
