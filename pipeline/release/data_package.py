"""`datapackage.json`: what the files of `data/` are, column by column, as a Data Package with Table Schemas."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from pipeline.release.contents import Content, Contents
from pipeline.release.schema import Column, Table
from pipeline.waiting_figures import said_of

# The open standard's own identifiers of its second version: https://datapackage.org
PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
RESOURCE_PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
SCHEMA_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"


def data_package(
    programme: str, as_of: str, tables: list[Table], files: Contents, *, over_periods_as_of: str | None = None
) -> dict[str, Any]:
    """The descriptor, ready for JSON.

    over_periods_as_of: the day that figures over all periods rest on, where it is an earlier one.
    Shapes   files: file name in `data/` → what is in it; each table has a CSV and a Parquet file.
    Source   Data Package and Table Schema standard, version 2. `unit` and `source` of a column are additional
             properties, which the standard allows.
    """
    return {
        "$schema": PACKAGE_PROFILE,
        "name": f"evenbeam-{name_of(programme)}",
        "title": programme,
        "description": f"Aggregate figures as of {as_of}.{_waiting(over_periods_as_of)} Figures of small groups are "
        "withheld: their cells are empty.",
        "resources": [
            resource
            for table in tables
            for resource in (
                _csv_resource(table, files[f"{table.name}.csv"]),
                _parquet_resource(table, files[f"{table.name}.parquet"]),
            )
        ],
    }


def _waiting(day: str | None) -> str:
    return f" {said_of(day).capitalize()}." if day else ""


def name_of(title: str) -> str:
    """A title in the letters that a package's name may have: lower-case a-z, 0-9 and hyphens."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "programme"


def _csv_resource(table: Table, content: Content) -> dict[str, Any]:
    return {
        **_resource(table, f"{table.name}.csv", content),
        "$schema": RESOURCE_PROFILE,
        "name": table.name,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {
            "delimiter": ",",
            "lineTerminator": "\n",
            "quoteChar": '"',
            "doubleQuote": True,
            "header": True,
        },
        "schema": {
            "$schema": SCHEMA_PROFILE,
            "fields": [_field(column) for column in table.columns],
            "missingValues": [""],
            "uniqueKeys": [list(table.key)],
        },
    }


def _parquet_resource(table: Table, content: Content) -> dict[str, Any]:
    return {
        **_resource(table, f"{table.name}.parquet", content),
        "$schema": RESOURCE_PROFILE,
        "name": f"{table.name}-parquet",
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
    }


def _resource(table: Table, path: str, content: Content) -> dict[str, Any]:
    return {
        "path": path,
        "title": table.title,
        "description": table.description,
        "bytes": content.bytes,
        "hash": f"sha256:{content.sha256}",
    }


def _field(column: Column) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": column.name,
        "type": column.type,
        "title": column.title,
        "description": column.description,
        "unit": column.unit,
        "source": column.source,
    }
    if column.limits:
        field["constraints"] = column.limits
    return field
