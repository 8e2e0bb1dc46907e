"""A whole release of invented people in a folder: tables in both formats, record and one page, as a run leaves them."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from pipeline.programme import Disclosure

RULES = Disclosure()
LABELS = {
    "band": {"under": "Under", "healthy": "Healthy", "over": "Over", "obese": "Obese"},
    "site": {
        "": "All sites",
        "site-0": "North Quay",
        "site-1": "East Pier",
        "site-2": "Old Dock",
        "site-3": "Net Loft",
    },
    "sex": {"all": "All", "female": "Female", "male": "Male"},
}
PAGE = """<!doctype html><html lang="en"><body>
<section class="figure" id="sites"><h2>Which share is under?</h2><p class="headline">{headline}</p><p>{note}</p>
<div class="chart" role="img" aria-label="{label}"></div>
<table><tbody>{rows}</tbody></table></section>
<script type="application/json" id="data">{data}</script></body></html>
"""


def write(folder: Path, tables: dict[str, pl.DataFrame]) -> Path:
    """A release folder of these published tables and no page."""
    (folder / "data").mkdir(parents=True)
    keys = {
        "prevalence": ["banding", "band", "population", "site", "period", "sex", "age_from", "age_to"],
        "percentile": ["measure", "site", "period", "sex", "age_from", "age_to", "percentile"],
    }
    resources = []
    for name, rows in tables.items():
        rows.write_parquet(folder / "data" / f"{name}.parquet")
        rows.write_csv(folder / "data" / f"{name}.csv")
        fields = [{"name": column, "title": column.replace("_", " ").capitalize()} for column in rows.columns]
        resources.append({"name": name, "schema": {"fields": fields, "uniqueKeys": [keys[name]]}})
    (folder / "data" / "datapackage.json").write_text(json.dumps({"resources": resources}))
    (folder / "release.json").write_text(json.dumps({"counts": {}}))
    return folder


def cube_of(prevalence: pl.DataFrame) -> dict:
    """The page's data: sex × site × band of the youngest age group, as the release's own pages carry them."""
    names = {axis: list(labels) for axis, labels in LABELS.items()}
    shown = {
        (row["sex"], row["site"] or "", row["band"]): row
        for row in prevalence.filter(pl.col("age_to") == 29).iter_rows(named=True)
    }
    keys = [(sex, site, band) for sex in names["sex"] for site in names["site"] for band in names["band"]]
    rows = [shown[key] for key in keys]
    return {
        "dimensions": [
            {"name": axis, "keys": names[axis], "labels": list(LABELS[axis].values())}
            for axis in ("sex", "site", "band")
        ],
        "columns": {
            "n": [row["n"] for row in rows],
            "people": [row["denominator"] for row in rows],
            "share": [None if row["proportion"] is None else round(1000 * row["proportion"]) for row in rows],
        },
        "decimals": {"n": 0, "people": 0, "share": 1},
        "states": "".join("w" if row["flag"] == "withheld" else "." for row in rows),
    }


def write_page(
    folder: Path,
    cube: dict,
    *,
    headline: str = "Of women.",
    label: str = "Of women.",
    row: str = "",
    note: str = "",
    fixed: dict[str, str] | None = None,
) -> None:
    """One page with this data; `row` is a row of its table, `fixed` what its figure shows besides."""
    data = {
        "words": {"withheld": "withheld"},
        "controls": [
            {"name": "sex", "keys": list(LABELS["sex"]), "default": "female"},
            {"name": "band", "keys": list(LABELS["band"]), "default": "under"},  # of another figure
        ],
        "cubes": {"shares": cube},
        "figures": [
            {"id": "sites", "cube": "shares", "along": ["site", "band"], "picks": ["sex"],
             "fixed": {"period": "2025Q1", "age": "20-29", **(fixed or {})}, "headlines": {"female": headline}},
        ],
    }  # fmt: skip
    page = PAGE.format(
        headline=headline, note=note, label=label, rows=row, data=json.dumps(data).replace("<", "\\u003c")
    )
    (folder / "index.html").write_text(page, encoding="utf-8")
