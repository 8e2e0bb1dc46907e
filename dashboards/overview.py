"""The first page: how many were measured, where things stand, what has changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import polars as pl

from dashboards import axes, bar_charts, beam_charts, headlines, trend_headlines, trends
from dashboards.cubes import Cube
from dashboards.data_quality import data_quality_pages
from dashboards.figures import Figure, TableColumn, share_columns
from dashboards.help_wanted import help_wanted
from dashboards.hydration import BANDING, hydration_notes, water_sentences
from dashboards.numbers import count, period_title
from dashboards.outcomes import outcome_pages
from dashboards.page import Page, sibling_file
from dashboards.release import Release
from dashboards.settled import settled
from dashboards.sites import site_pages
from dashboards.wording import TEXT, group_words, say, say_of


def overview_pages(release: Release) -> Iterator[Page]:
    yield release.once(_overview_page)


def _overview_page(release: Release) -> Page:
    cubes: dict[str, Cube] = {}
    figures: list[Figure] = []
    changes: list[dict[str, str]] = []
    titles = {key: b["title"] for key, b in release.bandings.items()}
    reach = _reach(release)
    if reach:
        cubes["reach"], figure = reach
        figures.append(figure)
    for key, (cube, group) in _latest_shares(release).items():
        cubes[key] = cube
        figures.append(_card(release, key, cube, group))
        change = _change(release, key, cube, group)
        changes.append(
            {"title": titles[key], "text": change, "file": sibling_file("prevalence", titles, key)}
        )
    return Page(
        file="index.html",
        section="index",
        title=release.facts["programme"],
        question=TEXT["index.question"],
        lead=say(
            "index.lead" if len(release.periods) > 1 else "index.lead.period",
            sites=count(len(release.site_names)),
            first=period_title(release.periods[0]),
            last=period_title(release.periods[-1]),
        ),
        template="index.html",
        cubes=cubes,
        figures=tuple(figures),
        more={
            "facts": _facts(release),
            "answers": list(_answers(release)),
            "changes_note": TEXT["index.changes.fitted" if release.has("trend") else "index.changes.note"],
            "changes": changes,
            "now": say("index.now", period=period_title(release.periods[-1])),
            "since": say("index.changes", first=period_title(release.periods[0])),
            "links": {key: sibling_file("prevalence", titles, key) for key in titles},
        },
    )


def _answers(release: Release) -> Iterator[dict[str, str]]:
    """The questions a reader comes with: {"question", "text", "file", "more"}, each in the words of its own page."""
    outcomes = next(outcome_pages(release), None)
    if outcomes:
        yield _answer(outcomes, outcomes.lead)
    sites = next(site_pages(release), None)
    if sites:
        yield _answer(sites, settled(sites, _first_there(sites, "funnel", "sites")).headline({}))
    quality = next(data_quality_pages(release), None)
    if quality:
        has_accounts = any(figure.id == "rows" for figure in quality.figures)
        accounts = [settled(quality, "rows").headline({})] if has_accounts else []
        text = " ".join([*accounts, *help_wanted(release, quality)]) or quality.lead
        yield {**_answer(quality, text), "question": TEXT["index.help"]}
    yield {"question": TEXT["index.downloads"], "text": TEXT["index.downloads.words"],
           "file": "methods.html#downloads", "more": TEXT["methods.downloads"]}  # fmt: skip


def _answer(page: Page, text: str) -> dict[str, str]:
    return {"question": page.question, "text": text, "file": page.file, "more": TEXT[f"index.to.{page.section}"]}


def _first_there(page: Page, *names: str) -> str:
    there = {figure.id for figure in page.figures}
    return next(name for name in names if name in there)


def _change(release: Release, name: str, cube: Cube, group: str) -> str:
    """The sentence that stands over the trend on the banding's own page."""
    spans = axes.age_spans(release, release.bandings[name])
    at = {"sex": "all", "age": axes.widest_adult(spans)}
    fitted = trends.fitted_trends(release, name, axes.sex_axis(), axes.age_axis(spans))
    return (fitted.sentence(at, group) if fitted else "") or trend_headlines.first_to_last(cube, {}, group)


def _latest_shares(release: Release) -> dict[str, tuple[Cube, str]]:
    """Banding → its shares by period for the group that its page opens with, and that group in words."""
    if not release.has("prevalence"):
        return {}
    rows = release.overall("prevalence").filter(pl.col("sex") == "all").with_columns(axes.AGE_KEY)
    found = {}
    for key, banding in release.bandings.items():
        spans = axes.age_spans(release, banding)
        age = axes.widest_adult(spans)
        here = rows.filter((pl.col("banding") == key) & (pl.col("age") == age))
        cube = axes.share_cube(here, [axes.period_axis(release), axes.band_axis(banding)])
        found[key] = cube, group_words("all", *spans[age])
    return found


def _card(release: Release, key: str, cube: Cube, group: str) -> Figure:
    last = release.periods[-1]
    notes = hydration_notes(water_sentences(release)) if key == BANDING else ()
    return Figure(
        id=key,
        question=release.bandings[key]["title"],
        cube=key,
        along=("band",),
        fixed={"period": last},
        spec=beam_charts.band_beams(share_columns(), "band", TEXT["column.band"]),
        columns=share_columns(),
        source="data/prevalence.csv",
        notes=notes,
        is_folded=True,
        headline=lambda at: headlines.most_common(cube, {"period": last}, group, period_title(last)),
    )


def _reach(release: Release) -> tuple[Cube, Figure] | None:
    """People measured by period: those with a weight, which every reading has."""
    if not release.has("percentile") or "weight" not in release.measures:
        return None
    measure, period, sex = release.measures["weight"], axes.period_axis(release), axes.sex_axis()
    spans = axes.age_spans(release, measure)
    widest = max(spans, key=lambda key: spans[key][1] - spans[key][0])
    rows = (
        release.overall("percentile")
        .filter((pl.col("measure") == "weight") & axes.of_group(widest))
    )
    cube = axes.percentile_cube(rows, [sex, period], measure, (50,))
    columns = (TableColumn(TEXT["column.people"], "value", ("people",)),)
    heads = (
        ("period", TEXT["column.period"]),
        ("sex", TEXT["column.sex"]),
    )
    return cube, Figure(
        id="reach",
        question=TEXT["index.reach"],
        cube="reach",
        along=("period", "sex"),
        columns=columns,
        spec=bar_charts.people_by_period(columns, heads, axes.calendar_of(cube.dimension("period"))),
        source="data/percentile.csv",
        extent=("people", "people"),
        none=TEXT["none.or_withheld"],
        notes=(TEXT["index.reach.read"],),
        headline=lambda at: _reach_sentence(cube),
        is_wide=True,
    )


def _reach_sentence(cube: Cube) -> str:
    period = cube.dimension("period")
    first, last = (cube.cell({"sex": "all", "period": key}) for key in (period.keys[0], period.keys[-1]))
    words = {"first": period.labels[0], "last": period.labels[-1]}
    if not headlines.is_shown(last, "people"):
        return say("h.reach.none", **words)
    if len(period.keys) < 2 or not headlines.is_shown(first, "people"):
        return say("h.reach.alone", people=count(last["people"]), **words)
    return say("h.reach", people=count(last["people"]), before=count(first["people"]), **words)


def _facts(release: Release) -> list[tuple[str, str]]:
    """(figure, what it counts); a count that is not published is said to be withheld."""
    counts = release.facts["counts"]
    kind: Any = release.facts.get("period_kind", "quarter")
    sizes = {
        "people": counts.get("people"),
        "readings": counts.get("readings"),
        "sites": len(release.site_names),
        f"periods.{kind}": len(release.periods),
    }
    return [
        (TEXT["withheld"] if n is None else count(n), say_of(f"index.{what}", 2 if n is None else n))
        for what, n in sizes.items()
    ]
