"""What is typical at each site: the middle value and the middle half of every measure in the last period."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboards import axes, headlines
from dashboards.cubes import NO_ROW
from dashboards.numbers import marks, written
from dashboards.percentiles import measure_titles, unit_after
from dashboards.release import ALL_SITES, Release
from dashboards.wording import TEXT

MIDDLE = (25, 50, 75)


def typical_group(release: Release) -> tuple[str, tuple[int, int]]:
    """The age group of the typical values, and the ages in it."""
    spans = axes.age_spans(release, {"age_from": 5, "age_to": 99})
    key = axes.widest_adult(spans)
    return key, spans[key]


def middles(release: Release, group: str) -> pl.DataFrame:
    """Rows of the percentiles MIDDLE of every site ("" for all) in the last period, one age group, both sexes: from
    ten million rows of a large programme, so read once for those who ask for the same group."""
    return release.once(_middles, group)


def _middles(release: Release, group: str) -> pl.DataFrame:
    is_asked = (pl.col("period") == release.periods[-1]) & (pl.col("sex") == "all") & axes.of_group(group)
    return release.scan("percentile").filter(is_asked & pl.col("percentile").is_in(MIDDLE)).collect()


def typical_values(release: Release) -> dict[str, list[dict[str, Any]]]:
    """Site → title and texts of each measure that some site has."""
    if not release.has("percentile"):
        return {}
    rows = middles(release, typical_group(release)[0]).filter(pl.col("site") != ALL_SITES)
    site, titles, there = axes.site_axis(release), measure_titles(release), set(rows["measure"])
    found: dict[str, list[dict[str, Any]]] = {key: [] for key in release.site_names}
    for name, measure in release.measures.items():
        if name not in there:
            continue
        cube = axes.percentile_cube(rows.filter(pl.col("measure") == name), [site], measure, MIDDLE)
        for key in found:
            found[key].append({"title": titles[name], **_texts(cube.cell({"site": key}), measure)})
    return found


def _texts(cell: Mapping[str, Any], measure: Mapping[str, Any]) -> dict[str, str]:
    if not headlines.is_shown(cell, "p25", "p50", "p75"):
        return {"words": TEXT["none.or_withheld"] if cell["state"] == NO_ROW else TEXT["withheld"]}
    unit, decimals = unit_after(measure), measure["decimals"]
    texts = {name: written(cell[name], decimals) for name in ("p25", "p50", "p75")}
    interval = [
        TEXT["no_limit"] if cell[end] is None else written(cell[end], decimals)
        for end in ("p50_low", "p50_high")
    ]
    return {
        "middle": texts["p50"] + unit,
        "interval": marks().range.join(interval),
        "half": f"{texts['p25']}{marks().range}{texts['p75']}{unit}",
        "people": written(cell["people"], 0),
    }
