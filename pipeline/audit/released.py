"""A release folder → the tables as a reader has them, from every file that carries figures.

The tables are read from Parquet. Every CSV must hold the same, and so must every sheet of a workbook whose columns are
those of a table: a figure that stands in one file and not in the other is known all the same, and is put into the
table; that they differ is reported. release.json gives the totals.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl


@dataclass
class Released:
    """What a folder publishes.

    tables       as a reader has them, figures of all files together.
    totals       item → number, of release.json.
    differences  (file, table, figures that it alone shows or shows otherwise).
    """

    tables: dict[str, pl.DataFrame]
    totals: dict[str, int | None]
    facts: dict[str, Any]
    differences: list[tuple[str, str, int]] = field(default_factory=list)


def read_release(folder: Path) -> Released:
    """Read everything in a release folder but its pages.

    Errors   FileNotFoundError or ValueError when the folder is not a release: it is the caller's own work.
    """
    facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
    package = json.loads((folder / "data" / "datapackage.json").read_text(encoding="utf-8"))
    keys = _keys(package)
    found = Released({}, facts.get("counts", {}), facts)
    for path in sorted((folder / "data").glob("*.parquet")):
        found.tables[path.stem] = pl.read_parquet(path, glob=False)
    for path in sorted((folder / "data").glob("*.csv")):
        rows = _csv(path, found.tables[path.stem])
        _put_beside(found, path.relative_to(folder).as_posix(), path.stem, rows, keys[path.stem])
    for path in sorted(folder.rglob("*.xlsx")):
        for title, rows in pl.read_excel(path, sheet_id=0, read_options={"dtypes": "string"}).items():
            shown = _table_of_sheet(title, rows, package)
            if shown:
                table, named = shown
                where = f"{path.relative_to(folder).as_posix()}, sheet {title}"
                _put_beside(found, where, table, named, keys[table])
    return found


def _keys(package: dict[str, Any]) -> dict[str, list[str]]:
    """Table → the columns that tell its rows apart."""
    return {
        resource["name"]: list(resource["schema"]["uniqueKeys"][0])
        for resource in package["resources"]
        if resource.get("schema", {}).get("uniqueKeys")
    }


def _csv(path: Path, like: pl.DataFrame) -> pl.DataFrame:
    """A CSV file as its table is typed. What cannot be read so is an error: a figure could hide in it."""
    return pl.read_csv(path, glob=False, schema_overrides=dict(like.schema))


def _table_of_sheet(
    title: str, rows: pl.DataFrame, package: dict[str, Any]
) -> tuple[str, pl.DataFrame] | None:
    """The table that a sheet shows, and the sheet with the names of the table's columns.

    A column's head is its name or its title, a unit in brackets behind it or not. Of several tables that a sheet could
    be, the one that it is named after, then the one with which it shares most columns.
    """
    best: tuple[tuple[bool, int], str, pl.DataFrame] | None = None
    for resource in package["resources"]:
        schema = resource.get("schema", {})
        name_of = {
            field[key]: field["name"] for key in ("title", "name") for field in schema.get("fields", [])
        }
        heads = {head: name_of.get(head) or name_of.get(head.partition(" (")[0]) for head in rows.columns}
        named = rows.select(pl.col(head).alias(name) for head, name in heads.items() if name)
        if schema.get("uniqueKeys") and set(schema["uniqueKeys"][0]) <= set(named.columns):
            rank = (resource["name"] == title, named.width)
            if best is None or rank > best[0]:
                best = (rank, resource["name"], named)
    return None if best is None else best[1:]


def _put_beside(found: Released, file: str, table: str, rows: pl.DataFrame, key: list[str]) -> None:
    """Add the figures of another file to a table: what it alone shows becomes known, and the difference is noted."""
    base = found.tables[table]
    shared = [name for name in base.columns if name in rows.columns]
    other = rows.select(_like(name, base.schema[name]) for name in shared)
    figures = [name for name in shared if base.schema[name].is_numeric() and name not in key]
    if not figures:
        return
    keyed = base.with_columns(_like(name, base.schema[name]).alias(f"_{name}") for name in key)
    beside = other.select(
        *(pl.col(name).alias(f"_{name}") for name in key),
        *(pl.col(name).alias(f"+{name}") for name in figures),
    ).unique([f"_{name}" for name in key], maintain_order=True)
    joined = keyed.join(
        beside, on=[f"_{name}" for name in key], how="left", nulls_equal=True, maintain_order="left"
    )
    differs = pl.sum_horizontal(
        (pl.col(f"+{name}").is_not_null() & ~_is_alike(name).fill_null(False)).cast(pl.Int64)
        for name in figures
    )
    number = int(joined.select(differs.sum()).item()) if joined.height else 0
    strangers = beside.join(keyed, on=[f"_{name}" for name in key], how="anti", nulls_equal=True).height
    if number or strangers:
        found.differences.append((file, table, number + strangers))
        found.tables[table] = joined.with_columns(
            pl.coalesce(name, f"+{name}").alias(name) for name in figures
        ).select(base.columns)


def _is_alike(name: str) -> pl.Expr:
    """A workbook keeps fifteen digits of a number."""
    there = pl.col(name).cast(pl.Float64)
    return (pl.col(f"+{name}").cast(pl.Float64) - there).abs() <= 1e-9 * pl.max_horizontal(
        there.abs(), pl.lit(1.0)
    )


def _like(name: str, kind: pl.DataType) -> pl.Expr:
    """A column as the table types it; empty text is nothing, so that files that cannot tell them apart agree."""
    if kind == pl.String:
        text = pl.col(name).cast(pl.String)
        return pl.when(text != "").then(text).alias(name)
    if kind.is_numeric():
        return pl.col(name).cast(pl.Float64, strict=False).cast(kind, strict=False)
    return pl.col(name).cast(kind, strict=False)
