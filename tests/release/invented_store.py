"""A store in memory with a few invented results, and a programme in a folder of its own."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.programme import Programme, ProgrammeSettings
from pipeline.release.schema import POLARS_TYPES, Table
from pipeline.store import Store

SITES = [("north-quay", "North Quay Leisure Centre", "gym"), ("east-pier", "East Pier Clinic", "clinic")]


def programme_in(folder: Path, name: str = "Harbour District Movement Programme") -> Programme:
    settings = ProgrammeSettings(
        name=name, site=[{"id": i, "name": n, "profile": "profile.toml", "kind": k} for i, n, k in SITES]
    )
    return Programme(folder / "programme.toml", settings, {}, "c0ffee" * 10 + "0123")


def prevalence() -> pl.DataFrame:
    """Adults' visceral fat: 30 of 120 people at one site, 4 of 80 at the other."""
    rows = [
        (
            "visceral_fat",
            band,
            population,
            site,
            "2025Q1",
            "all",
            20,
            99,
            n,
            denominator,
            n / denominator,
            0.1,
            0.9,
            1.25 if population == "all" else None,
            "Wilson score interval",
            None,
        )
        for population, site, excess, denominator in (
            ("all", None, 34, 200),
            ("site", "east-pier", 4, 80),
            ("site", "north-quay", 30, 120),
        )
        for band, n in (("excess", excess), ("usual", denominator - excess))
    ]
    columns = [
        "banding",
        "band",
        "population",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        "n",
        "denominator",
        "proportion",
        "low",
        "high",
        "design_effect",
        "method",
        "flag",
    ]
    return pl.DataFrame(rows, schema=columns, orient="row", schema_overrides={"flag": pl.String})


def percentile() -> pl.DataFrame:
    rows = [
        ("bmi", "kg/m2", None, "2025Q1", "all", 20, 99, p, value, None, value + 1, 200, "type 7", None)
        for p, value in ((50, 26.099999999999998), (3, 18.2))
    ]
    columns = [
        "measure",
        "unit",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        "percentile",
        "value",
        "low",
        "high",
        "n",
        "method",
        "flag",
    ]
    return pl.DataFrame(
        rows,
        schema=columns,
        orient="row",
        schema_overrides={"site": pl.String, "low": pl.Float64, "flag": pl.String},
    )


def data_quality() -> pl.DataFrame:
    rows = [
        (site, None, "rows_read", "count", n, n, 1.0, None)
        for site, n in (("", 200), ("east-pier", 80), ("north-quay", 120))
    ]
    return pl.DataFrame(
        rows,
        orient="row",
        schema={
            "site": pl.String,
            "period": pl.String,
            "item": pl.String,
            "severity": pl.String,
            "n": pl.Int64,
            "denominator": pl.Int64,
            "proportion": pl.Float64,
            "flag": pl.String,
        },
    )


def nothing(table: Table) -> pl.DataFrame:
    """A table without rows."""
    return pl.DataFrame(schema={column.name: POLARS_TYPES[column.type] for column in table.columns})


def fill(store: Store, **tables: pl.DataFrame) -> Store:
    rows = {"prevalence": prevalence(), "percentile": percentile(), "data_quality": data_quality(), **tables}
    with store.transaction():
        for name, frame in rows.items():
            store.replace_rows(f"result.{name}", frame)
    return store
