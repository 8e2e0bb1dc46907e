"""Analysers and sites as instruments: differences by period with their signals, and marks of careless entry."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from dashboards import axes, site_charts, site_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn
from dashboards.methods_named import methods_named
from dashboards.percentiles import measure_titles
from dashboards.release import ALL_SITES, Release
from dashboards.wording import TEXT, say, unit_word

SOURCE = "data/device.csv"
CHECK_SOURCE = "data/instrument_check.csv"
SHOWN_AT_ONCE = 12  # analysers; of more, the first view shows those that signalled
PERIODS_SHOWN = 8
ENTRIES = ("terminal_digit_weight", "terminal_digit_height", "duplicated", "impossible", "athlete_mode")
NO_MEASURE = {"unit": "", "decimals": 1}


def steadiness_figures(release: Release, site: Dimension) -> tuple[dict[str, Cube], list[Figure]]:
    """One figure a measure, and its cube; nothing where the release has no such table."""
    if not release.has("device"):
        return {}, []
    rows = (
        release.scan("device")
        .with_columns(analyser=pl.col("site") + "|" + pl.col("device").fill_null(""), zero=pl.lit(0))
        .collect()
    )
    signals = ("", *sorted({*rows["signal"].drop_nulls().unique()} - {""}))
    rows = rows.with_columns(
        pl.col("signal").replace_strict({s: i for i, s in enumerate(signals)}, default=0)
    )
    words = tuple(TEXT.get(f"signal.{s}", s) for s in signals)
    cubes, figures = {}, []
    for name in sorted(rows["measure"].unique(), key=lambda m: (m != "weight", m)):
        made = _measure_cube(release, rows.filter(pl.col("measure") == name), name)
        cubes[f"devices_{name}"] = made
        notes = (TEXT["device.as_above"],) if figures else _how_to_read(release)
        figures.append(_steadiness(release, name, made, site, words, notes))
    return cubes, figures


def _measure_cube(release: Release, rows: pl.DataFrame, name: str) -> Cube:
    """analyser × period; a difference has one decimal more than the measure prints."""
    every = axes.period_axis(release)
    period = Dimension("period", every.keys[-PERIODS_SHOWN:], every.labels[-PERIODS_SHOWN:])
    decimals = release.measures.get(name, NO_MEASURE)["decimals"] + 1
    scale = {"steps_per_unit": 10**decimals, "decimals": decimals}
    sums = {"steps_per_unit": 10, "decimals": 1}
    return cube(
        rows,
        [_analysers(release, rows), period],
        {
            **{name: Column(name, **scale) for name in ("difference", "low", "high")},
            "upper": Column("upper_sum", **sums),
            "lower": Column("lower_sum", **sums),
            "decision": Column("decision", **sums),
            "signal": Column("signal"),
            "zero": Column("zero"),  # the level line stands in every panel
            "n": Column("n"),
        },
    )


def _analysers(release: Release, rows: pl.DataFrame) -> Dimension:
    """Site by name, then analyser; a site whose files name no analyser is one instrument."""
    found = rows.select("site", "device", "analyser").unique().rows()
    places = {site: i for i, site in enumerate(release.site_names)}
    ordered = sorted(
        (row for row in found if row[0] in places), key=lambda row: (places[row[0]], row[1] or "")
    )
    return Dimension(
        "analyser",
        tuple(key for _, _, key in ordered),
        tuple(
            say("device.named", site=release.site_names[site], device=device)
            if device
            else release.site_names[site]
            for site, device, _ in ordered
        ),
    )


def _how_to_read(release: Release) -> tuple[str, ...]:
    """Said under the first of these figures only."""
    return say("device.read", most=SHOWN_AT_ONCE), TEXT["device.note"], _methods(release, "device")


def _steadiness(
    release: Release,
    name: str,
    made: Cube,
    site: Dimension,
    words: tuple[str, ...],
    notes: tuple[str, ...],
) -> Figure:
    measure = release.measures.get(name, NO_MEASURE)
    title, unit = measure_titles(release).get(name, name).partition(",")[0], unit_word(measure["unit"])
    columns = (
        TableColumn(TEXT["device.column.difference"], "value", ("difference",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high")),
        TableColumn(TEXT["device.column.signal"], "word", ("signal",), words=words),
        TableColumn(TEXT["device.column.upper"], "value", ("upper",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["device.column.lower"], "value", ("lower",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["device.column.decision"], "value", ("decision",), missing=TEXT["no_figure"]),
        TableColumn(TEXT["device.column.n"], "value", ("n",)),
    )
    heads = (("analyser", TEXT["column.analyser"]), ("period", TEXT["column.period"]))
    chosen, period = _chosen(made, site), made.dimension("period")

    def headline(at: Mapping[str, str]) -> str:
        keys = made.dimension("analyser").keys if at["site"] == ALL_SITES else chosen[at["site"]]
        devices = [
            (made.dimension("analyser").label(key),
             [(period.label(k["period"]), c) for k, c in made.walk(["period"], {"analyser": key})])
            for key in keys
        ]  # fmt: skip
        return site_headlines.steadiness(devices, words)

    return Figure(
        id=f"steady-{name.replace('_', '-')}",
        question=say("device.question", measure=title, unit=unit),
        cube=f"devices_{name}",
        along=("analyser", "period"),
        picks=("site",),
        chosen={"analyser": ("site", chosen)},
        panels="analyser",
        spec=site_charts.differences_over_periods(columns, heads, unit, axes.calendar_of(period)),
        columns=columns,
        source=SOURCE,
        extent=("low", "high", "zero"),
        is_from_zero=False,
        is_one_scale=True,
        is_folded=True,
        is_wide=True,
        none=TEXT["device.no_figure"],
        notes=notes,
        headline=headline,
    )


def _chosen(made: Cube, site: Dimension) -> dict[str, tuple[str, ...]]:
    """Site → its analysers; for all sites every analyser, or of many those that signalled."""
    keys = made.dimension("analyser").keys
    every = keys
    if len(keys) > SHOWN_AT_ONCE:
        every = tuple(
            key for key in keys if any(c["signal"] for _, c in made.walk(["period"], {"analyser": key}))
        )[:SHOWN_AT_ONCE]
    return {
        s: every if s == ALL_SITES else tuple(key for key in keys if key.partition("|")[0] == s)
        for s in site.keys
    }


def _methods(release: Release, table: str) -> str:
    found = release.scan(table).select(pl.col("method").unique()).collect()["method"]
    return say("method", method=methods_named(found))


def entry_figure(release: Release, site: Dimension) -> tuple[Cube, Figure] | None:
    """The checks of instrument_check over all periods, for the chosen site or for every site."""
    if not release.has("instrument_check"):
        return None
    rows = (
        release.scan("instrument_check")
        .filter(pl.col("period").is_null())
        .with_columns(pl.col("check").str.replace_all(" ", "_"))
        .collect()
    )
    if rows.is_empty():
        return None
    names = sorted(rows["check"].unique(), key=_place)
    checks = Dimension(
        "entry", tuple(names), tuple(TEXT.get(f"entry.{name}", name.replace("_", " ")) for name in names)
    )
    made = cube(
        rows.rename({"check": "entry"}),
        [checks, site],
        {
            "share": Column("value", 1000, 1),
            "n": Column("n"),
            "of": Column("denominator"),
            "statistic": Column("statistic", 10, 1),
            "p": Column("p", 1000, 3),
        },
    )
    present = tuple(
        key for key in site.keys if any(c["state"] != "-" for _, c in made.walk(["entry"], {"site": key}))
    )
    chosen = {key: present if key == ALL_SITES else (key,) for key in site.keys}
    none = {"missing": TEXT["no_figure"]}
    return made, Figure(
        id="entry",
        question=TEXT["entry.question"],
        cube="entry",
        along=("entry", "site"),
        picks=("site",),
        chosen={"site": ("site", chosen)},
        spec=None,
        columns=(
            TableColumn(TEXT["entry.column.value"], "value", ("share",), True, **none),
            TableColumn(TEXT["column.rows"], "value", ("n",)),
            TableColumn(TEXT["column.out_of"], "value", ("of",)),
            TableColumn(TEXT["entry.column.statistic"], "value", ("statistic",), **none),
            TableColumn(TEXT["column.p"], "p", ("p",), **none),
        ),
        source=CHECK_SOURCE,
        is_folded=True,
        is_wide=True,
        notes=(TEXT["entry.read"],),
        headline=lambda at: site_headlines.entries(
            [
                (checks.label(keys["entry"]), cell)
                for key in chosen[at["site"]]
                for keys, cell in made.walk(["entry"], {"site": key})
            ]
        ),
    )


def _place(entry: str) -> tuple[int, str]:
    """The known checks in their order, then any other by name."""
    return (ENTRIES.index(entry) if entry in ENTRIES else len(ENTRIES), entry)
