"""A release folder of the published shape, filled with invented figures (mechanics only; nothing is measured).

Groups add up (sites to all sites, female and male to all, ages to totals), so a page that compares two figures
is never shown an impossible pair. Small cells are withheld as a release would, with their figures empty.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import polars as pl
from invented_comparisons import comparison_tables

from pipeline import measures

HOSTILE_NAME = '<script>alert("site")</script> & "Sons"'

PLACES = (
    "Harbour",
    "Quay",
    "Lantern",
    "Orchard",
    "Millpond",
    "Ferry",
    "Beacon",
    "Granary",
    "Weir",
    "Kiln",
    "Ropewalk",
    "Heron",
)
KINDS = (
    ("Leisure Centre", "gym"),
    ("Health Centre", "clinic"),
    ("Academy", "school"),
    ("Works", "workplace"),
    ("Community Hall", "community"),
)

SHARES = {
    "bmi_adult": (0.02, 0.38, 0.35, 0.16, 0.06, 0.03),
    "bmi_child": (0.01, 0.03, 0.68, 0.17, 0.11),
    "hydration": (0.24, 0.70, 0.06),
    "visceral_fat": (0.82, 0.18),
    "body_fat": (0.04, 0.44, 0.30, 0.22),
    "fat_lean": (0.14, 0.17, 0.34, 0.35),
}
CENTRES = {  # mean and spread, women; men are a little higher
    "weight": (70, 13),
    "height": (164, 7),
    "bmi": (26, 4.6),
    "bmi_z": (0.5, 1.1),
    "body_fat_percent": (32, 7),
    "fat_mass": (23, 9),
    "fat_free_mass": (46, 5),
    "total_body_water_percent": (49, 5),
    "water_in_fat_free_mass": (0.731, 0.012),
    "visceral_fat_level": (8, 3.4),
    "basal_metabolic_rate": (1450, 160),
}
CHECKS = (
    (
        "weight_out_of_range",
        "Weight outside what can be a reading",
        "hold",
        "Weight is outside 10 to 300 kg.",
        "A slip of the unit or of the decimal mark is likelier than such a weight.",
    ),
    (
        "swapped",
        "Weight and height look exchanged",
        "hold",
        "The pair is implausible, and plausible when exchanged.",
        "Two neighbouring columns are easily exchanged in a site's export.",
    ),
    (
        "height_changed",
        "An adult's height changed",
        "set_aside",
        "Height differs from the person's other readings.",
        "Adult height changes by millimetres, so a large difference is another person or a slip.",
    ),
    (
        "fat_disagrees",
        "Fat mass and body fat disagree",
        "flag",
        "Fat mass is not body fat times weight.",
        "Fields that must agree and do not may come from different readings.",
    ),
)


def make_release(
    folder: Path,
    *,
    sites: int = 6,
    quarters: int = 4,
    hostile: bool = False,
    seed: int = 7,
    base: int = 60,
    without: tuple[str, ...] = (),
    comparisons: bool = True,
    absent: bool = True,
) -> Path:
    """Write release.json and data/*.parquet; returns the folder.

    sites     how many; with `hostile` the first carries HOSTILE_NAME
    base      people in a group of ordinary size; small ones give withheld cells
    without   names of tables to leave out
    comparisons  whether the tables of issue 3 are there; a release made before has none of them
    absent    whether groups that are wholly withheld have no rows in `percentile`; a release made before has them
    """
    rng = np.random.default_rng(seed)
    places = _places(sites, hostile)
    periods = [f"{2024 + i // 4}Q{i % 4 + 1}" for i in range(quarters)]
    sizes = rng.gamma(2.5, base / 2.5, (sites, 1, 1, 1)) * rng.uniform(0.8, 1.2, (sites, quarters, 2, 1))
    ages = np.array([0.2, 0.35, 0.5, 1.2, 1.6, 1.7, 1.4, 1.0, 0.6, 0.15, 0.02])
    people = rng.poisson(sizes * ages).astype(np.int64)
    ids = [s["id"] for s in places]
    shares = _prevalence(rng, people, ids, periods)
    tables = {
        "prevalence": _withhold(shares, ("n", "denominator", "proportion", "low", "high", "design_effect")),
        "percentile": _percentile(rng, people, ids, periods),
        "data_quality": _data_quality(rng, people, ids, periods),
    }
    if absent:
        group = ("measure", "site", "period", "sex", "age_from", "age_to")
        is_hidden = (pl.col("flag") == "withheld").fill_null(False)
        tables["percentile"] = tables["percentile"].filter(~is_hidden.all().over(group))
    if comparisons:
        tables |= comparison_tables(rng, shares, CENTRES, ids)
    tables = {name: frame for name, frame in tables.items() if name not in without}
    (folder / "data").mkdir(parents=True, exist_ok=True)
    for name, frame in tables.items():
        frame.write_parquet(folder / "data" / f"{name}.parquet")
        if sites <= 30:
            frame.write_csv(folder / "data" / f"{name}.csv")
    facts = _facts(places, periods, tables, int(people.sum()))
    (folder / "release.json").write_text(json.dumps(facts, sort_keys=True, indent=1), encoding="utf-8")
    (folder / "data" / "datapackage.json").write_text('{"name": "invented"}', encoding="utf-8")
    return folder


def _places(sites: int, hostile: bool) -> list[dict[str, str]]:
    places = []
    for i in range(sites):
        kind, code = KINDS[i % len(KINDS)]
        name = f"{PLACES[i % len(PLACES)]} {kind}" + (f" {i // 60 + 1}" if sites > 60 else "")
        places.append({"id": f"site-{i + 1:03d}", "name": name, "kind": code})
    if hostile:
        places[0]["name"] = HOSTILE_NAME
    return places


def _groups() -> list[tuple[int, int, list[int]]]:
    """Each age group with the finest groups in it."""
    fine = list(measures.AGE_GROUPS)
    return [
        (a, b, [i for i, (x, y) in enumerate(fine) if x >= a and y <= b])
        for a, b in (*fine, *measures.AGE_TOTALS)
    ]


def _prevalence(
    rng: np.random.Generator, people: np.ndarray, ids: list[str], periods: list[str]
) -> pl.DataFrame:
    frames = []
    for name, shares in SHARES.items():
        banding = measures.BANDINGS[name]
        age_in = np.array([b >= banding.age_from and a <= banding.age_to for a, b in measures.AGE_GROUPS])
        drift = np.linspace(0, 0.12, len(periods))
        site_effect = rng.normal(0, 0.12, len(ids))
        weight = np.array(shares)[None, None, None, None, :] * np.ones((*people.shape, len(shares)))
        weight[..., -1] *= np.exp(site_effect)[:, None, None, None] * (1 - drift)[None, :, None, None]
        counts = rng.multinomial(people * age_in, weight / weight.sum(-1, keepdims=True))
        frames.append(_cells(banding, _with_totals(counts), ids, periods))
    return pl.concat(frames).sort(
        "banding", "population", "site", "period", "sex", "age_from", "age_to", "band", nulls_last=False
    )


def _with_totals(counts: np.ndarray) -> np.ndarray:
    """site × period × sex × age × … → the same with all sites, all sexes and the age totals added."""
    counts = np.concatenate([counts, counts.sum(0, keepdims=True)], 0)
    counts = np.concatenate([counts, counts.sum(2, keepdims=True)], 2)
    return np.stack([counts[:, :, :, inner].sum(3) for _, _, inner in _groups()], 3)


def _cells(banding: measures.Banding, counts: np.ndarray, ids: list[str], periods: list[str]) -> pl.DataFrame:
    site, period, sex, age, band = (axis.ravel() for axis in np.indices(counts.shape))
    n, people = counts.ravel(), np.broadcast_to(counts.sum(-1, keepdims=True), counts.shape).ravel()
    least = counts.min(-1, keepdims=True)
    hidden = ((counts > 0) & (counts < 10)).any(-1, keepdims=True) & ((counts < 10) | (counts == least))
    groups = _groups()
    low, high = _wilson(n, people)
    frame = pl.DataFrame(
        {
            "banding": banding.name,
            "band": np.array([b.name for b in banding.bands])[band],
            "population": np.where(site == len(ids), "all", "site"),
            "site": pl.Series([*ids, None], dtype=pl.String).gather(site),
            "period": np.array(periods)[period],
            "sex": np.array(["female", "male", "all"])[sex],
            "age_from": np.array([g[0] for g in groups], dtype=np.int16)[age],
            "age_to": np.array([g[1] for g in groups], dtype=np.int16)[age],
            "n": n,
            "denominator": people,
            "proportion": n / np.maximum(people, 1),
            "low": low,
            "high": high,
            "design_effect": np.where(site == len(ids), 1.6, np.nan),
            "method": np.where(
                site == len(ids),
                "Korn-Graubard interval, 95 %, sites as clusters",
                "Wilson score interval, 95 %",
            ),
            "hidden": hidden.ravel(),
        }
    ).filter(pl.col("denominator") > 0)
    width = pl.col("high") - pl.col("low")
    is_loose = (
        (pl.col("denominator") < 30)
        | (width >= 0.30)
        | ((width > 0.05) & (width > 1.3 * pl.col("proportion")))
    )
    return frame.with_columns(
        pl.col("design_effect").fill_nan(None),
        pl.when(is_loose).then(pl.lit("unreliable")).otherwise(pl.lit(None, dtype=pl.String)).alias("flag"),
    )


def _wilson(n: np.ndarray, people: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    people, z2 = np.maximum(people, 1), 1.959964**2
    centre = (n + z2 / 2) / (people + z2)
    half = np.sqrt(z2) / (people + z2) * np.sqrt(n * (1 - n / people) + z2 / 4)
    return np.clip(centre - half, 0, 1), np.clip(centre + half, 0, 1)


def _withhold(frame: pl.DataFrame, figures: tuple[str, ...]) -> pl.DataFrame:
    hidden = pl.col("hidden")
    marked = pl.col("flag") if "flag" in frame.columns else pl.lit(None, dtype=pl.String)
    return frame.with_columns(
        *(pl.when(hidden).then(None).otherwise(pl.col(c)).alias(c) for c in figures),
        pl.when(hidden).then(pl.lit("withheld")).otherwise(marked).alias("flag"),
    ).drop("hidden")


def _percentile(
    rng: np.random.Generator, people: np.ndarray, ids: list[str], periods: list[str]
) -> pl.DataFrame:
    totals, groups, frames = _with_totals(people), _groups(), []
    centre_z = np.array([-1.881, -1.645, -1.282, -0.674, 0, 0.674, 1.036, 1.282, 1.645, 1.881])
    for name, (mean, spread) in CENTRES.items():
        measure = measures.MEASURES[name]
        shift = rng.normal(0, 0.05, (*totals.shape, 1))
        age_effect = np.sin(np.linspace(-0.6, 1.4, len(groups)))[None, None, None, :, None] * 0.5
        sex_effect = np.array([0, 0.7, 0.35])[None, None, :, None, None]
        value = mean + spread * (centre_z + shift + age_effect + sex_effect)
        half = 2.2 * spread / np.sqrt(np.maximum(totals, 1))[..., None] * np.ones_like(value)
        site, period, sex, age, which = (axis.ravel() for axis in np.indices(value.shape))
        n = totals[site, period, sex, age]
        step = measure.steps_per_unit
        frame = pl.DataFrame(
            {
                "measure": name,
                "unit": measure.unit,
                "site": pl.Series([*ids, None], dtype=pl.String).gather(site),
                "period": np.array(periods)[period],
                "sex": np.array(["female", "male", "all"])[sex],
                "age_from": np.array([g[0] for g in groups], dtype=np.int16)[age],
                "age_to": np.array([g[1] for g in groups], dtype=np.int16)[age],
                "percentile": np.array(measures.PERCENTILES, dtype=np.int16)[which],
                "value": np.round(value.ravel() * step) / step,
                "low": np.round((value - half).ravel() * step) / step,
                "high": np.round((value + half).ravel() * step) / step,
                "n": n,
                "method": "Hyndman-Fan type 7; interval from order statistics",
                "hidden": (n < 30) | ((n < 70) & np.isin(which, (0, len(measures.PERCENTILES) - 1))),
            }
        ).filter(
            (pl.col("n") > 0)
            & (pl.col("age_to") >= measure.age_from)
            & (pl.col("age_from") <= measure.age_to)
        )
        edge = (pl.col("n") < 120) & pl.col("percentile").is_in([3, 97])  # a limit that does not exist
        frame = frame.with_columns(
            low=pl.when(edge & (pl.col("percentile") == 3)).then(None).otherwise("low"),
            high=pl.when(edge & (pl.col("percentile") == 97)).then(None).otherwise("high"),
        )
        frames.append(_withhold(frame, ("value", "low", "high", "n")))
    return pl.concat(frames).sort("measure", "site", "period", "sex", "age_from", "age_to", "percentile")


def _data_quality(
    rng: np.random.Generator, people: np.ndarray, ids: list[str], periods: list[str]
) -> pl.DataFrame:
    rows = []
    for s, site in enumerate(ids):
        read = 0
        for q, period in enumerate(periods):
            count = int(people[s, q].sum())
            readings = int(count * 1.3)
            read += readings
            rows += [
                (site, period, "people", "count", count, readings),
                (site, period, "readings", "count", readings, readings),
            ]
            for code, _, severity, _, _ in CHECKS:
                if severity != "hold":
                    rows.append((site, period, code, severity, int(rng.poisson(readings * 0.01)), readings))
        held, duplicate, superseded = (int(rng.poisson(read * share)) for share in (0.02, 0.01, 0.004))
        rows += [
            (site, None, "rows_read", "count", read + held + duplicate + superseded, None),
            (site, None, "rows_accepted", "count", read, read + held + duplicate + superseded),
            (site, None, "rows_held", "count", held, read + held + duplicate + superseded),
            (site, None, "rows_duplicate", "count", duplicate, read + held + duplicate + superseded),
            (site, None, "rows_superseded", "count", superseded, read + held + duplicate + superseded),
            (site, None, "files_held", "count", int(rng.poisson(0.3)), len(periods) + 1),
        ]
        for code, _, severity, _, _ in CHECKS:
            if severity == "hold":
                rows.append((site, None, code, severity, held // 2, read + held + duplicate + superseded))
    columns = {"site": pl.String, "period": pl.String, "item": pl.String, "severity": pl.String}
    frame = pl.DataFrame(rows, orient="row", schema={**columns, "n": pl.Int64, "denominator": pl.Int64})
    frame = frame.with_columns(pl.coalesce("denominator", "n"))
    together = frame.group_by("period", "item", "severity").agg(pl.col("n", "denominator").sum())
    frame = pl.concat(
        [frame, together.with_columns(site=pl.lit(None, dtype=pl.String)).select(frame.columns)]
    )
    frame = frame.with_columns(
        hidden=(pl.col("n") > 0) & (pl.col("n") < 4),
        proportion=pl.when(pl.col("denominator") > 0).then(pl.col("n") / pl.col("denominator")),
    )
    return _withhold(frame, ("n", "denominator", "proportion")).sort("site", "period", "item")


def _facts(places: list, periods: list[str], tables: dict[str, pl.DataFrame], people: int) -> dict:
    units = {
        "n": "{person}",
        "denominator": "{person}",
        "proportion": "1",
        "low": "as the figure",
        "high": "as the figure",
    }
    return {
        "release": "latest",
        "programme": "Harbour District Movement Programme",
        "as_of": "2026-01-15",
        "software": "evenbeam 0.1.0",
        "period_kind": "quarter",
        "periods": periods,
        "sites": places,
        "disclosure": {"minimum_count": 10, "minimum_people_for_percentile": 30},
        "bandings": [
            {
                "name": b.name,
                "title": b.title,
                "age_from": b.age_from,
                "age_to": b.age_to,
                "source": b.source,
                "caution": b.caution,
                "bands": [{"name": x.name, "title": x.title, "rule": x.rule} for x in b.bands],
            }
            for b in measures.BANDINGS.values()
            if b.name in SHARES and "prevalence" in tables
        ],
        "measures": [
            {
                "name": m.name,
                "title": m.title,
                "unit": m.unit,
                "decimals": m.decimals,
                "age_from": m.age_from,
                "age_to": m.age_to,
                "source": m.source,
            }
            for m in measures.MEASURES.values()
            if m.name in CENTRES and "percentile" in tables
        ],
        "age_groups": [
            {"age_from": a, "age_to": b, "is_total": (a, b) in measures.AGE_TOTALS} for a, b, _ in _groups()
        ],
        "percentiles": list(measures.PERCENTILES),
        "written": {"locale": "en-GB", "decimal": ".", "thousands": "\u202f", "as_of": "15 January 2026"},
        "counts": {"readings": int(people * 1.3), "people": people, "files": 3 * len(places)},
        "checks": [
            dict(zip(("code", "title", "severity", "explanation", "why"), check, strict=True))
            for check in CHECKS
        ],
        "settings_sha256": "0" * 64,
        "tables": [
            {
                "name": name,
                "title": name.replace("_", " ").capitalize(),
                "description": "Invented figures.",
                "rows": frame.height,
                "columns": [
                    {"name": c, "title": c, "description": f"The {c}.", "unit": units.get(c, "")}
                    for c in frame.columns
                ],
            }
            for name, frame in tables.items()
        ],
    }
