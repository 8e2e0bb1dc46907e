"""The tables of a frozen version, read back from its own files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.release.schema import TABLES


def record_in(folder: Path) -> dict[str, Any]:
    """release.json of a version."""
    return json.loads((folder / "release.json").read_text(encoding="utf-8"))


def tables_in(folder: Path) -> dict[str, pl.DataFrame]:
    """Every published table that the version has; a table that a later program added is absent."""
    return {
        table.name: pl.read_parquet(path, glob=False)
        for table in TABLES
        if (path := folder / "data" / f"{table.name}.parquet").is_file()
    }


def of_period(tables: dict[str, pl.DataFrame], period: str) -> dict[str, pl.DataFrame]:
    """What a release of one period says.

    Tables by period keep that period's rows, and no row that stands for all periods: the accounts of files go into the
    manifest. Tables over time (trends, curves) have no period and stay whole: the caller computed them up to it.
    """
    return {
        name: rows.filter(pl.col("period") == period) if "period" in rows.columns else rows
        for name, rows in tables.items()
    }
