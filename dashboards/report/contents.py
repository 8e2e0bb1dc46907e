"""What a period's report says and shows: figures of the pages with their choices made, question by question.

One selection serves the page report.html and the PDF. Every sentence is one that the pages compute from the
release's own figures, so the report cannot say more than they do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from dashboards import axes, headlines
from dashboards.cubes import Cube, Dimension
from dashboards.curve_charts import two_shares
from dashboards.data_quality import data_quality_pages
from dashboards.figures import SHARE_COLUMNS, Figure
from dashboards.hydration import BANDING as WATER
from dashboards.hydration import hydration_notes, water_sentences
from dashboards.numbers import count, period_title
from dashboards.outcomes import outcome_pages
from dashboards.overview import overview_pages
from dashboards.page import Page
from dashboards.release import ALL_SITES, Release
from dashboards.report.still import settled
from dashboards.sites import site_pages
from dashboards.wording import CAUTIONS, HOW, TEXT, group_words, say

FILE = "report.html"
BANDINGS = ("bmi_adult", "bmi_child", WATER)  # of the others the pages tell
COLUMNS = tuple(column for column in SHARE_COLUMNS if column.of != ("n",))
CHECKS_SHOWN = 6  # those that found most; the page on data quality has all
CAUTIONS_FIRST = 5  # themes that a reader of figures needs; the page on methods has them all


@dataclass(frozen=True)
class Section:
    """A question of the report: sentences, and the names of its figures."""

    id: str
    title: str
    sentences: tuple[str, ...] = ()
    figures: tuple[str, ...] = ()


@dataclass
class Selection:
    """Figures taken so far, each under a name of its own, with the cubes they stand on."""

    cubes: dict[str, Cube] = field(default_factory=dict)
    figures: list[Figure] = field(default_factory=list)

    def take(self, name: str, cube: Cube, figure: Figure) -> str:
        self.cubes[name] = cube
        self.figures.append(replace(figure, id=name, cube=name, links={}))
        return name

    def take_from(self, page: Page, figure: str, name: str, **state: str) -> str:
        made = settled(page, figure, **state)
        return self.take(name, page.cubes[made.cube], made)

    def headline(self, name: str) -> str:
        return next(figure for figure in self.figures if figure.id == name).headline({})


def report_pages(release: Release) -> Iterator[Page]:
    """The report as a page. Nothing where the release has no prevalence: then there is nothing to report."""
    if not release.has("prevalence"):
        return
    taken = Selection()
    parts = [make(release, taken) for make in _PARTS]
    sections = [section for section in parts if section is not None]
    last = period_title(release.periods[-1])
    yield Page(
        file=FILE,
        section="report",
        title=say("report.title", period=last),
        question=say("report.title", period=last),
        lead=say("report.lead", programme=release.facts["programme"], period=last),
        template="report.html",
        cubes=taken.cubes,
        figures=tuple(taken.figures),
        more={
            "brief": _brief(release, taken, sections),
            "sections": sections,
            "how": _how(release),
            "cautions": CAUTIONS[:CAUTIONS_FIRST],
            "document": DOCUMENT,
        },
    )


DOCUMENT = "report.pdf"


# ---- the parts, in the order of the report ----------------------------------------------------------------


def _reach(release: Release, taken: Selection) -> Section | None:
    overview = next(overview_pages(release))
    if "reach" not in overview.cubes:
        return None
    name = taken.take_from(overview, "reach", "reach")
    outcomes = next(outcome_pages(release), None)
    returned = _headlines(outcomes, "retention") if outcomes else ()
    return Section("reach", TEXT["report.reach"], (_sites_heard(release), *returned), (name,))


def _headlines(page: Page, *names: str) -> tuple[str, ...]:
    """The sentences over those of these figures that the page has, as it opens."""
    there = {figure.id for figure in page.figures}
    return tuple(settled(page, name).headline({}) for name in names if name in there)


def _sites_heard(release: Release) -> str:
    """How many sites have figures of the last period that can be shown."""
    rows = release.scan("prevalence").filter(
        (pl.col("period") == release.periods[-1]) & (pl.col("site") != ALL_SITES) & pl.col("n").is_not_null()
    )
    shown = rows.select(pl.col("site").n_unique()).collect().item()
    return say(
        "report.sites_heard",
        period=period_title(release.periods[-1]),
        shown=count(shown),
        sites=count(len(release.site_names)),
    )


def _shares(release: Release, taken: Selection) -> Section | None:
    names = [
        taken.take(f"shares-{name.replace('_', '-')}", *_against_last_period(release, name))
        for name in BANDINGS
        if name in release.bandings
    ]
    if not names:
        return None
    read = TEXT["report.shares.read" if len(release.periods) > 1 else "prevalence.read"]
    return Section("shares", TEXT["report.shares"], (TEXT["report.shares.lead"], read), tuple(names))


def _against_last_period(release: Release, name: str) -> tuple[Cube, Figure]:
    """Bands of the group a banding's page opens with, in the last period beside the one before."""
    banding = release.bandings[name]
    spans = axes.age_spans(release, banding)
    age = axes.widest_adult(spans)
    keys = tuple(reversed(release.periods[-2:]))
    period = Dimension("period", keys, tuple(period_title(key) for key in keys))
    rows = (
        release.scan("prevalence")
        .filter((pl.col("banding") == name) & (pl.col("site") == ALL_SITES) & (pl.col("sex") == "all"))
        .with_columns(axes.AGE_KEY)
        .filter(pl.col("age") == age)
        .collect()
    )
    cube = axes.share_cube(rows, [axes.band_axis(banding), period])
    group = group_words("all", *spans[age])
    heads = (("band", TEXT["column.band"]), ("period", TEXT["column.period"]))
    water = hydration_notes(water_sentences(release)) if name == WATER else ()
    return cube, Figure(
        id=name,
        question=banding["title"],
        cube=name,
        along=("band", "period"),
        spec=two_shares(COLUMNS, heads, "period", keys),
        columns=COLUMNS,
        source="data/prevalence.csv",
        notes=water,
        headline=lambda _: _compared(cube, period, group),
        is_wide=True,
    )


def _compared(cube: Cube, period: Dimension, group: str) -> str:
    """The most common band now, and which shares clearly moved since the period before."""
    now, *before = period.keys
    sentence = headlines.most_common(cube, {"period": now}, group, period.label(now))
    if not before:
        return sentence
    return f"{sentence} {headlines.since(cube, {'period': before[0]}, {'period': now}, period.label(before[0]))}"


def _outcomes(release: Release, taken: Selection) -> Section | None:
    """Change of those who came again; with the other ways to take it beside, as on the page."""
    page = next(outcome_pages(release), None)
    if page is None or not any(figure.id == "change" for figure in page.figures):
        return None
    name = taken.take_from(page, "change", "change")
    taken.figures[-1] = replace(taken.figures[-1], notes=taken.figures[-1].notes[:1])
    return Section("outcomes", page.question, (page.lead, *_headlines(page, "reliable")), (name,))


def _variation(release: Release, taken: Selection) -> Section | None:
    page = next(site_pages(release), None)
    if page is None or not any(figure.id == "funnel" for figure in page.figures):
        return None
    names = [taken.take_from(page, "funnel", "sites")]
    notes = (TEXT["compare.read"], TEXT["compare.can"], TEXT["compare.cannot"])
    taken.figures[-1] = replace(taken.figures[-1], notes=notes)
    sentences = [page.more["about"]]
    if "spread" in page.cubes:
        spread = next(f for f in page.figures if f.cube == "spread")
        sentences.append(settled(page, spread.id).headline({}))
    return Section("variation", TEXT["report.variation"], tuple(sentences), tuple(names))


def _quality(release: Release, taken: Selection) -> Section | None:
    page = next(data_quality_pages(release), None)
    if page is None:
        return None
    has_accounts = any(figure.id == "rows" for figure in page.figures)
    sentences = [settled(page, "rows").headline({})] if has_accounts else []
    sentences += [
        say("report.device", measure=f.question, sentence=settled(page, f.id).headline({}))
        for f in page.figures
        if f.cube.startswith("devices_")
    ][:1]
    checks = page.cubes["checks"]
    most = sorted(checks.dimension("check").keys, key=lambda key: -_found(checks, key))[:CHECKS_SHOWN]
    name = taken.take_from(page, "checks", "checks", site=ALL_SITES)
    shown = tuple(key for key in checks.dimension("check").keys if key in most and _found(checks, key))
    taken.figures[-1] = replace(
        taken.figures[-1], only={"check": shown}, spec=None, notes=(), question=TEXT["report.checks"]
    )
    return Section("quality", TEXT["report.quality"], tuple(sentences), (name,))


def _found(checks: Cube, key: str) -> int:
    """How many rows or readings of all sites a check spoke of; 0 where that is not shown."""
    return checks.cell({"site": ALL_SITES, "check": key})["n"] or 0


_PARTS: tuple[Callable[[Release, Selection], Section | None], ...] = (_reach, _shares, _outcomes, _variation, _quality)


# ---- what stands before and after them --------------------------------------------------------------------


def _brief(release: Release, taken: Selection, sections: list[Section]) -> list[str]:
    """The report in a few sentences: the headlines of its own figures."""
    named = {section.id: section for section in sections}
    wanted = [name for section in ("reach", "shares") if section in named for name in named[section].figures]
    wanted = [name for name in wanted if name != f"shares-{WATER}"]  # it needs its caution beside it
    for section in ("outcomes", "variation"):
        if section in named:
            wanted += named[section].figures[:1]
    return [taken.headline(name) for name in wanted]


def _how(release: Release) -> list[tuple[str, str]]:
    rules: Mapping[str, Any] = release.facts["disclosure"]
    numbers = {
        "minimum_count": rules["minimum_count"],
        "minimum_people": rules["minimum_people_for_percentile"],
    }
    return [(title, text.format(**numbers)) for title, text in HOW]
