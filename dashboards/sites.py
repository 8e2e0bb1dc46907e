"""The pages "How do sites differ?", one for each banding, and one page for each site.

Sites stand in the order of their names or of how many people they measured, never of a share.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboards import axes, beam_charts, headlines, site_charts
from dashboards.cubes import Cube, Dimension
from dashboards.figures import Figure, TableColumn, share_columns
from dashboards.hydration import BANDING, hydration_notes, water_sentences
from dashboards.numbers import period_title
from dashboards.page import Choice, Page, sibling_file, sibling_pages
from dashboards.release import ALL_SITES, Release
from dashboards.site_comparison import Topic, comparison, share_of_band
from dashboards.site_means import mean_files, mean_page, site_file, site_order
from dashboards.typical_values import typical_group, typical_values
from dashboards.wording import TEXT, group_words, listed, say

SOURCE = "data/prevalence.csv"
PERIODS_SHOWN = (
    8  # a page with every site carries the last two years of quarters; a site's own page carries all
)


def site_pages(release: Release) -> Iterator[Page]:
    """First the pages with every site, then a page for each."""
    if not release.has("prevalence"):
        return
    _, *others = release.bandings
    yield release.once(_first_page)
    for name in others:
        yield _all_sites_page(release, name)
    means = mean_files(release)
    for name in means:
        yield mean_page(release, name, means)
    told, typical = _told_of_sites(release.once(_rows_of_opening_groups)), typical_values(release)
    beside = {name: _Beside.of(release, name) for name in release.bandings}
    for site in release.site_names:
        yield _one_site_page(release, site, beside, told.get(site, {}), typical.get(site, []))


def _first_page(release: Release) -> Page:
    """The page that others quote."""
    return _all_sites_page(release, next(iter(release.bandings)))


def _opening_ages(release: Release) -> dict[str, str]:
    """Banding → the age group that its pages open with."""
    return {
        name: axes.widest_adult(axes.age_spans(release, banding)) for name, banding in release.bandings.items()
    }


def _rows_of_opening_groups(release: Release) -> pl.DataFrame:
    is_opening_group = pl.any_horizontal(
        (pl.col("banding") == name) & axes.of_group(age) for name, age in _opening_ages(release).items()
    )
    return release.scan("prevalence").filter(is_opening_group).collect()


def _cubes_of_sites(release: Release) -> dict[str, Cube]:
    """Banding → every site in every period: made once, and each page of sites takes its own cells."""
    rows = release.once(_rows_of_opening_groups)
    sex, period, site = axes.sex_axis(), axes.period_axis(release), axes.site_axis(release)
    return {
        name: axes.share_cube(rows.filter(pl.col("banding") == name), [sex, period, axes.band_axis(banding), site])
        for name, banding in release.bandings.items()
    }


def _told_of_sites(rows: pl.DataFrame) -> dict[str, dict[str, Any]]:
    """Site → the bandings that it has rows of, its last period, and its last with a figure to show (None for none)."""
    told = rows.group_by("site").agg(
        pl.col("banding").unique(),
        pl.col("period").max(),
        pl.col("period").filter(pl.col("n").is_not_null()).max().alias("shown"),
    )
    return {row["site"]: row for row in told.to_dicts()}


def _all_sites_page(release: Release, name: str) -> Page:
    banding = release.bandings[name]
    titles = {key: b["title"] for key, b in release.bandings.items()}
    cube = release.once(_cubes_of_sites)[name]
    every = cube.dimension("period")
    period = Dimension("period", every.keys[-PERIODS_SHOWN:], every.labels[-PERIODS_SHOWN:])
    if period != every:
        cube = cube.narrowed(period)
    sex, band, means = cube.dimension("sex"), cube.dimension("band"), mean_files(release)
    controls = axes.controls_for(
        band,
        sex,
        period,
        defaults={
            "band": axes.opening_band(banding),
            "sex": "all",
            "period": period.keys[-1],
        },
    )
    controls["order"] = site_order()
    files = {key: site_file(key) for key in release.site_names}
    compared, figures = comparison(release, Topic(name, band, share_of_band(), files, ("band", "period")))
    choices = sibling_pages("sites", titles, name)
    if means:
        choices += (Choice(TEXT["sites.means"], next(iter(means.values())), False),)
    span = axes.age_spans(release, banding)[_opening_ages(release)[name]]
    return Page(
        file=sibling_file("sites", titles, name),
        section="sites",
        title=say("sites.title", banding=banding["title"]),
        question=TEXT["sites.question"],
        lead=TEXT["sites.adjusted" if figures else "sites.unadjusted"],
        template="sites.html",
        cubes={"sites": cube, **compared},
        controls=controls,
        figures=(_every_site(release, cube, name), *figures),
        choices=choices,
        choice_label=TEXT["choice.banding"],
        more={
            "about": f"{banding['title']}: {group_words('all', *span)}. {banding['caution']}",
            "sites": [(title, site_file(key)) for key, title in release.site_names.items()],
        },
    )


def _every_site(release: Release, cube: Cube, name: str) -> Figure:
    heads = (("site", TEXT["column.site"]),)
    water = hydration_notes(water_sentences(release)) if name == BANDING else ()
    periods = cube.dimension("period")

    def headline(at: Mapping[str, str]) -> str:
        overall, *sites = cube.along("site", at, "share", "low", "high")  # all sites stand first
        return headlines.site_spread(sites, overall, periods.label(at["period"]))

    return Figure(
        id="sites",
        question=TEXT["sites.figure"],
        cube="sites",
        along=("site",),
        picks=("band", "sex", "period"),
        spec=site_charts.site_beams(share_columns(), heads),
        columns=share_columns(),
        source=SOURCE,
        order="order",
        is_wide=True,
        is_from_zero=False,
        none=TEXT["none.or_withheld"],  # a site's group without any figure to show has no rows
        notes=(TEXT["sites.read"], *water),
        links={key: site_file(key) for key in release.site_names},
        headline=headline,
    )


@dataclass(frozen=True)
class _Beside:
    """What the figures of one banding have in common on all pages of single sites."""

    every: Cube
    columns: tuple[TableColumn, ...]
    spec: dict[str, Any]
    groups: Mapping[str, str]  # sex → the group in words
    water: Mapping[str, str]  # site → what stands beside hydration

    @classmethod
    def of(cls, release: Release, name: str) -> _Beside:
        every, columns = release.once(_cubes_of_sites)[name], share_columns()
        span = axes.age_spans(release, release.bandings[name])[_opening_ages(release)[name]]
        heads = (("site", TEXT["column.site"]), ("band", TEXT["column.band"]))
        return cls(
            every,
            columns,
            beam_charts.band_beams_beside(columns, heads),
            {sex: group_words(sex, *span) for sex in every.dimension("sex").keys},
            water_sentences(release) if name == BANDING else {},
        )


def _one_site_page(
    release: Release,
    site: str,
    beside: Mapping[str, _Beside],
    told: Mapping[str, Any],
    typical: list[dict[str, Any]],
) -> Page:
    name, sex, period = release.site_names[site], axes.sex_axis(), axes.period_axis(release)
    site_axis = Dimension("site", (site, ALL_SITES), (name, TEXT["all_sites"]))
    cubes: dict[str, Cube] = {}
    figures = []
    measured = set(told.get("banding", ()))  # a school has no figures of adults: its page does not say so six times
    opening = told.get("shown") or told.get("period") or release.periods[-1]
    for key, shared in beside.items():
        if measured and key not in measured:
            continue
        cubes[key] = shared.every.narrowed(site_axis)
        figures.append(_beside_all_sites(release, key, cubes[key], site, shared))
    return Page(
        file=site_file(site),
        section="sites",
        title=name,
        question=say("site.question", site=name),
        lead=" ".join((TEXT["site.lead"], *_since_when(release, opening, measured))),
        template="site.html",
        cubes=cubes,
        controls=axes.controls_for(sex, period, defaults={"sex": "all", "period": opening}),
        figures=tuple(figures),
        more={
            "kind": TEXT.get(f"site.kind.{release.kinds[site]}", TEXT["site.kind.other"]),
            "typical": typical if any("words" not in row for row in typical) else [],
            "typical_lead": say(
                "site.measures.lead",
                group=group_words("all", *typical_group(release)[1]),
                period=period_title(release.periods[-1]),
            ),
        },
    )


def _since_when(release: Release, opening: str, measured: set[str]) -> Iterator[str]:
    """What a reader has to know where the page does not open on the latest period, or leaves bands out."""
    if opening != release.periods[-1]:
        yield say("site.last", last=period_title(release.periods[-1]), opening=period_title(opening))
    left_out = [
        say("quoted", words=banding["title"]) for key, banding in release.bandings.items() if key not in measured
    ]
    if measured and left_out:
        yield say("site.left_out", list=listed(left_out))


def _beside_all_sites(release: Release, key: str, cube: Cube, site: str, shared: _Beside) -> Figure:
    water = hydration_notes(shared.water, site) if key == BANDING else ()
    periods = cube.dimension("period")
    return Figure(
        id=key,
        question=release.bandings[key]["title"],
        cube=key,
        along=("band", "site"),
        picks=("sex", "period"),
        spec=shared.spec,
        columns=shared.columns,
        source=SOURCE,
        notes=(TEXT["site.read"], *water),
        is_folded=True,
        none=TEXT["none.or_withheld"],
        headline=lambda at: headlines.most_common(
            cube, {**at, "site": site}, shared.groups[at["sex"]], periods.label(at["period"])
        ),
    )
