"""What a period's report says and shows: figures of the pages with their choices made, question by question.

One selection serves the page report.html and the PDF. Every sentence is one that the pages compute from the
release's own figures, so the report cannot say more than they do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from dashboards import axes, headlines, trend_headlines
from dashboards.beam_charts import two_shares
from dashboards.cubes import Cube, Dimension
from dashboards.data_quality import data_quality_pages
from dashboards.figures import Figure, share_columns
from dashboards.hydration import BANDING as WATER
from dashboards.hydration import hydration_notes, water_sentences
from dashboards.numbers import count, period_title
from dashboards.outcomes import outcome_pages
from dashboards.overview import overview_pages
from dashboards.page import Page
from dashboards.release import ALL_SITES, Release
from dashboards.settled import settled
from dashboards.sites import site_pages
from dashboards.wording import TEXT, group_words, say, titled

FILE = "report.html"
DOCUMENT = "report.pdf"
BANDINGS = ("bmi_adult", "bmi_child", WATER)  # of the others the pages tell
CHECKS_SHOWN = 5  # those that found most; the page on data quality has all
CAUTIONS_FIRST = ("groups", "alike", "hydration", "children", "came")  # the page on methods has them all
HOW_FIRST = ("person", "intervals", "withheld", "change")  # likewise
ADULTS, CAME_AGAIN = "20", ("followed", "missed", "gone")  # of the figure on who was seen again
LOST = "lost_5_percent"


@dataclass(frozen=True)
class Section:
    """A question of the report: sentences, and the names of its figures; `is_paired` sets them side by side."""

    id: str
    title: str
    sentences: tuple[str, ...] = ()
    figures: tuple[str, ...] = ()
    is_paired: bool = False


@dataclass(frozen=True)
class Source:
    """A release, and the page of its outcomes, made once."""

    release: Release
    outcomes: Page | None

    def has_outcome(self, name: str) -> bool:
        return self.outcomes is not None and any(figure.id == name for figure in self.outcomes.figures)


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

    def change(self, name: str, **parts: Any) -> None:
        self.figures = [replace(f, **parts) if f.id == name else f for f in self.figures]

    def keep_one(self, name: str, dimension: str, key: str) -> None:
        """Of a figure along a dimension only one key of it, and so no panels either."""
        figure = next(figure for figure in self.figures if figure.id == name)
        along = tuple(each for each in figure.along if each != dimension)
        self.change(name, along=along, fixed={**figure.fixed, dimension: key}, panels=None)


def report_pages(release: Release) -> Iterator[Page]:
    """The report as a page. Nothing where the release has no prevalence: then there is nothing to report."""
    if not release.has("prevalence"):
        return
    taken, source = Selection(), Source(release, next(outcome_pages(release), None))
    parts = [make(source, taken) for make in _PARTS]
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
            "brief": _brief(source, taken),
            "sections": sections,
            "how": _how(release),
            "cautions": titled(*(f"caution.{name}" for name in CAUTIONS_FIRST)),
            "document": DOCUMENT,
        },
    )


# ---- the parts, in the order of the report ----------------------------------------------------------------


def _reach(source: Source, taken: Selection) -> Section | None:
    overview = next(overview_pages(source.release))
    names = []
    if "reach" in overview.cubes:
        names.append(taken.take_from(overview, "reach", "reach"))
    if source.has_outcome("retention"):
        names.append(taken.take_from(source.outcomes, "retention", "retention"))
        notes = (TEXT["report.retention.read"],)
        taken.keep_one("retention", "stage", ADULTS)
        taken.change("retention", only={"status": CAME_AGAIN}, notes=notes)
    if not names:
        return None
    sentences = (_sites_heard(source.release),)
    return Section("reach", TEXT["report.reach"], sentences, tuple(names), is_paired=len(names) == 2)


def _sites_heard(release: Release) -> str:
    """How many sites have figures of the last period that can be shown."""
    rows = release.scan("prevalence").filter(
        (pl.col("period") == release.periods[-1]) & (pl.col("site") != ALL_SITES) & pl.col("n").is_not_null()
    )
    shown = rows.select(pl.col("site").n_unique()).collect().item()
    is_all = shown == len(release.site_names)
    return say(
        "report.sites_heard.all" if is_all else "report.sites_heard",
        period=period_title(release.periods[-1]),
        shown=count(shown),
        sites=count(len(release.site_names)),
    )


def _shares(source: Source, taken: Selection) -> Section | None:
    release = source.release
    names = [
        taken.take(f"shares-{name.replace('_', '-')}", *_against_last_period(release, name))
        for name in BANDINGS
        if name in release.bandings
    ]
    if not names:
        return None
    read = TEXT["report.shares.read" if len(release.periods) > 1 else "prevalence.read"]
    return Section("shares", TEXT["report.shares"], (f"{TEXT['report.shares.lead']} {read}",), tuple(names))


def _against_last_period(release: Release, name: str) -> tuple[Cube, Figure]:
    """Bands of the group a banding's page opens with, in the last period beside the one before."""
    banding = release.bandings[name]
    spans = axes.age_spans(release, banding)
    age = axes.widest_adult(spans)
    keys = tuple(reversed(release.periods[-2:]))
    period = Dimension("period", keys, tuple(period_title(key) for key in keys))
    is_of_group = (pl.col("banding") == name) & (pl.col("sex") == "all") & axes.of_group(age)
    rows = release.overall("prevalence").filter(is_of_group)
    cube = axes.share_cube(rows, [axes.band_axis(banding), period])
    group = group_words("all", *spans[age])
    columns = tuple(column for column in share_columns() if column.of != ("n",))
    heads = (("band", TEXT["column.band"]), ("period", TEXT["column.period"]))
    water = hydration_notes(water_sentences(release)) if name == WATER else ()
    return cube, Figure(
        id=name,
        question=banding["title"],
        cube=name,
        along=("band", "period"),
        spec=two_shares(columns, heads, "period", keys),
        columns=columns,
        source="data/prevalence.csv",
        notes=water,
        headline=lambda _: _compared(cube, period, group),
        is_wide=True,
    )


def _compared(cube: Cube, period: Dimension, group: str) -> str:
    """The most common band now, and which shares clearly moved since the period before."""
    now = period.keys[0]
    sentence = headlines.most_common(cube, {"period": now}, group, period.label(now))
    return f"{sentence} {_moved(cube)}".strip()


def _moved(cube: Cube) -> str:
    """Which shares clearly moved since the period before; empty without one."""
    period = cube.dimension("period")
    now, *before = period.keys
    if not before:
        return ""
    return trend_headlines.since(cube, {"period": before[0]}, {"period": now}, period.label(before[0]))


def _outcomes(source: Source, taken: Selection) -> Section | None:
    """Change of those who came again, with the other ways to take it beside; the share beside its target."""
    if not source.has_outcome("change"):
        return None
    names = [taken.take_from(source.outcomes, "change", "change")]
    taken.change("change", notes=(TEXT["change.read"],))
    if source.has_outcome("reliable"):
        names.append(taken.take_from(source.outcomes, "reliable", "lost"))
        taken.keep_one("lost", "statistic", LOST)
        has_target = any(value is not None for value in taken.cubes["lost"].columns["target"])
        taken.change(
            "lost",
            question=TEXT["report.lost"],
            notes=(TEXT["report.lost.read"], *((TEXT["reliable.target"],) if has_target else ())),
        )
    return Section("outcomes", source.outcomes.question, (TEXT["outcomes.caution.alone"],), tuple(names))


def _variation(source: Source, taken: Selection) -> Section | None:
    page = next(site_pages(source.release), None)
    if page is None or not any(figure.id == "funnel" for figure in page.figures):
        return None
    names = [taken.take_from(page, "funnel", "sites")]
    taken.change("sites", notes=(TEXT["report.funnel.read"], TEXT["compare.can"], TEXT["compare.cannot"]))
    sentences = [page.more["about"]]
    if "spread" in page.cubes:
        spread = next(f for f in page.figures if f.cube == "spread")
        sentences.append(settled(page, spread.id).headline({}))
    return Section("variation", TEXT["report.variation"], tuple(sentences), tuple(names))


def _quality(source: Source, taken: Selection) -> Section | None:
    page = next(data_quality_pages(source.release), None)
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
    shown = tuple(key for key in checks.dimension("check").keys if key in most and _found(checks, key))
    if shown:
        taken.take_from(page, "checks", "checks", site=ALL_SITES)
        taken.change("checks", only={"check": shown}, spec=None, notes=(), question=TEXT["report.checks"])
    return Section("quality", TEXT["report.quality"], tuple(sentences), ("checks",) if shown else ())


def _found(checks: Cube, key: str) -> int:
    """How many rows or readings of all sites a check spoke of; 0 where that is not shown."""
    return checks.cell({"site": ALL_SITES, "check": key})["n"] or 0


_PARTS: tuple[Callable[[Source, Selection], Section | None], ...] = (
    _reach, _shares, _outcomes, _variation, _quality,
)  # fmt: skip


# ---- what stands before and after them --------------------------------------------------------------------


def _brief(source: Source, taken: Selection) -> list[str]:
    """The report in a few sentences, each of which its figures bear out."""
    there = {figure.id: figure for figure in taken.figures}
    brief = [taken.headline(name) for name in ("reach",) if name in there]
    for name in (f"shares-{key.replace('_', '-')}" for key in BANDINGS if key != WATER):
        if name in there:  # water needs its caution beside it
            words = _moved(taken.cubes[name]) or taken.headline(name)
            brief.append(say("report.since", banding=there[name].question, sentence=words))
    brief += [source.outcomes.lead] if "change" in there else []
    return brief + [taken.headline(name) for name in ("sites",) if name in there]


def _how(release: Release) -> list[tuple[str, str]]:
    rules: Mapping[str, Any] = release.facts["disclosure"]
    return titled(
        *(f"how.{name}" for name in HOW_FIRST),
        minimum_count=rules["minimum_count"],
        minimum_people=rules["minimum_people_for_percentile"],
    )
