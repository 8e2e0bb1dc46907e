"""The page "Can the figures be trusted?": what became of each site's rows, and which checks found something."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from dashboards import axes, bar_charts, headlines
from dashboards.catalogue import catalogue
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn
from dashboards.instruments import entry_figure, steadiness_figures
from dashboards.numbers import count, percent
from dashboards.page import Page
from dashboards.release import ALL_SITES, Release
from dashboards.wording import TEXT, say

SOURCE = "data/data_quality.csv"
DECIMALS = 2  # of a per cent: most checks speak for fewer than one row in a thousand
ROW_ITEMS = ("rows_held", "rows_duplicate", "rows_superseded")


def _columns() -> tuple[TableColumn, ...]:
    return (
        TableColumn(TEXT["column.share_of"], "value", ("share",), is_percent=True),
        TableColumn(TEXT["column.rows"], "value", ("n",)),
        TableColumn(TEXT["column.out_of"], "value", ("of",)),
    )


def data_quality_pages(release: Release) -> Iterator[Page]:
    if release.has("data_quality"):
        yield release.once(_data_quality_page)


def _data_quality_page(release: Release) -> Page:
    every = release.rows("data_quality")
    has_accounts = every["period"].has_nulls()  # rows of files have no period, and a frozen period has none of them
    rows = _over_periods(every)
    site = axes.site_axis(release)
    items = Dimension(
        "item", ("rows_accepted", *ROW_ITEMS), tuple(TEXT[f"item.{i}"] for i in ("rows_accepted", *ROW_ITEMS))
    )
    codes = _codes(rows, release)
    checks = Dimension("check", tuple(codes), tuple(codes.values()))
    accounting = _cube(rows, [items, site])
    found = _cube(rows.rename({"item": "check"}), [site, checks])
    controls = axes.controls_for(site, defaults={"site": ALL_SITES})
    cubes, figures = steadiness_figures(release, site)
    entry = entry_figure(release, site)
    if entry:
        cubes["entry"] = entry[0]
        figures.append(entry[1])
    if has_accounts:
        cubes["rows"] = accounting
        figures.insert(0, _accounting(accounting))
    return Page(
        file="data-quality.html",
        section="data-quality",
        title=TEXT["data-quality.title"],
        question=TEXT["data-quality.question"],
        lead=TEXT["data-quality.lead"],
        template="data_quality.html",
        cubes={"checks": found, **cubes},
        controls=controls,
        figures=(*figures[:has_accounts], _checks(found), *figures[has_accounts:]),
        more={"checks": release.facts["checks"], "arrivals": _arrivals(release)},
    )


def _arrivals(release: Release) -> list[tuple[str, str, str, str]]:
    """(site, how often a reading is expected, its last period, what that makes of it), those overdue first."""
    order = ("nothing_yet", "silent", "late", "on_time")
    sites = [site for site in release.facts["sites"] if site.get("expected")]
    sites.sort(key=lambda site: (order.index(site["arrival"]), site["name"].casefold(), site["id"]))
    return [
        (
            site["name"],
            TEXT[f"expected.{site['expected']}"],
            site["last_period"] or TEXT["no_figure"],
            TEXT[f"arrival.{site['arrival']}"],
        )
        for site in sites
    ]


def _over_periods(rows: pl.DataFrame) -> pl.DataFrame:
    """Site × item over all periods, as sums of what is published.

    What an item is out of does not hang on the periods in which it spoke: reasons for holding a row are out of the
    rows read, remarks on accepted readings out of all accepted readings.
    Missing  a sum with a withheld part would pass for a total that it is not, so it is withheld too.
    """
    is_hidden = (pl.col("flag") == "withheld").fill_null(False)
    summed = rows.group_by("site", "item", maintain_order=True).agg(
        pl.col("severity").first(),
        pl.col("n").sum(),
        pl.col("denominator").sum(),
        is_hidden.any().alias("is_hidden"),
    )
    bases = {
        severity: summed.filter(pl.col("item") == item).select(
            "site",
            pl.col("denominator").alias(f"of_{severity}"),
            pl.col("is_hidden").alias(f"hidden_{severity}"),
        )
        for severity, item in (("hold", "rows_read"), ("remark", "readings"))
    }
    for base in bases.values():
        summed = summed.join(base, on="site", how="left", maintain_order="left")
    is_hold, is_count = pl.col("severity") == "hold", pl.col("severity") == "count"
    return summed.with_columns(
        denominator=pl.when(is_count)
        .then("denominator")
        .when(is_hold)
        .then("of_hold")
        .otherwise("of_remark"),
        is_hidden=pl.col("is_hidden")
        | (~is_count & pl.when(is_hold).then("hidden_hold").otherwise("hidden_remark")),
    ).select(
        "site",
        "item",
        "n",
        "denominator",
        pl.when(pl.col("denominator") > 0).then(pl.col("n") / pl.col("denominator")).alias("proportion"),
        pl.when("is_hidden").then(pl.lit("withheld")).alias("flag"),
    )


def _codes(rows: pl.DataFrame, release: Release) -> dict[str, str]:
    """Codes that found something → their titles, in the declared order; "code:field" names the field too."""
    titles = {check["code"]: check["title"] for check in release.facts["checks"]}
    places = {code: i for i, code in enumerate(titles)}
    present = {code for code in rows["item"].unique() if code.partition(":")[0] in titles}
    ordered = sorted(present, key=lambda code: (places[code.partition(":")[0]], code))
    told = catalogue().of_release
    fields = {code: told(code.partition(":")[2].replace("_", " ")) for code in ordered}
    return {
        code: titles[code.partition(":")[0]] + (f": {field}" if field else "")
        for code, field in fields.items()
    }


def _cube(rows: pl.DataFrame, dimensions: list[Dimension]) -> Cube:
    return cube(
        rows,
        dimensions,
        {"share": Column("proportion", 10_000, DECIMALS), "n": Column("n"), "of": Column("denominator")},
    )


def _accounting(accounting: Cube) -> Figure:
    def headline(at: dict[str, str]) -> str:
        cell = accounting.cell({"item": "rows_accepted", "site": ALL_SITES})
        if not headlines.is_shown(cell, "n", "of", "share"):
            shown = [
                c["n"]
                for keys, c in accounting.walk(["site"], {"item": "rows_accepted"})
                if keys["site"] != ALL_SITES and headlines.is_shown(c, "n")
            ]
            return say("h.rows.some", accepted=count(sum(shown)))
        return say(
            "h.rows",
            read=count(cell["of"]),
            accepted=count(cell["n"]),
            share=percent(cell["share"], DECIMALS),
        )

    heads = (
        ("site", TEXT["column.site"]),
        ("item", TEXT["column.item"]),
    )
    return Figure(
        id="rows",
        question=TEXT["data-quality.rows"],
        cube="rows",
        along=("item", "site"),
        panels="item",
        only={"item": ROW_ITEMS},
        spec=bar_charts.bars(_columns(), "site", heads),
        columns=_columns(),
        source=SOURCE,
        extent=("share", "share"),
        notes=(TEXT["data-quality.rows.read"],),
        headline=headline,
        is_wide=True,
        links={},
    )


def _checks(found: Cube) -> Figure:
    site, checks = found.dimension("site"), found.dimension("check")

    def headline(at: dict[str, str]) -> str:
        cells = [
            (checks.label(keys["check"]), cell)
            for keys, cell in found.walk(["check"], at)
            if headlines.is_shown(cell, "n", "of", "share") and cell["n"]
        ]
        if not cells:
            return say("h.checks.none", site=site.label(at["site"]))
        title, most = max(cells, key=lambda item: item[1]["n"])
        return say(
            "h.checks",
            site=site.label(at["site"]),
            check=title,
            n=count(most["n"]),
            of=count(most["of"]),
            share=percent(most["share"], DECIMALS),
        )

    return Figure(
        id="checks",
        question=TEXT["data-quality.checks"],
        cube="checks",
        along=("check",),
        picks=("site",),
        spec=bar_charts.named_bars(_columns(), "check", TEXT["column.check"]),
        columns=_columns(),
        source=SOURCE,
        extent=("share", "share"),
        notes=(TEXT["data-quality.checks.read"],),
        headline=headline,
        none=TEXT["none.found"],
    )
