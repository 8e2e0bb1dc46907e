"""A data package against its data: every table's files, columns, types, constraints and keys.

Written from the descriptor alone, as any reader of the standard would, and not from the schema that wrote it.
Source   Data Package and Table Schema, version 2 (https://datapackage.org): types string, integer and number;
         constraints required, enum, minimum, maximum and pattern; missingValues; uniqueKeys.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import polars as pl

_INTEGER = r"[+-]?[0-9]+"
_NUMBER = r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?"


def faults_of(data: Path) -> list[str]:
    """Everything in which a folder's files are not what its datapackage.json says; empty when all is well."""
    path = data / "datapackage.json"
    try:
        package = json.loads(path.read_text(encoding="utf-8"))
        resources = {resource["name"]: resource for resource in package["resources"]}
    except (OSError, ValueError, KeyError, TypeError) as error:
        return [f"datapackage.json: cannot be read ({type(error).__name__})"]
    found: list[str] = []
    for resource in resources.values():
        found += _of_file(data, resource)
    for name, resource in resources.items():
        if "schema" in resource and (data / resource["path"]).is_file():
            found += _of_table(data, resource, resources.get(f"{name}-parquet"))
    return found


def _of_file(data: Path, resource: dict[str, Any]) -> list[str]:
    name = resource["path"]
    if Path(name).is_absolute() or ".." in Path(name).parts:
        return [f"{name}: a path that leads out of the package"]
    path = data / name
    if not path.is_file():
        return [f"{name}: named by datapackage.json, and not there"]
    content = path.read_bytes()
    found = []
    if len(content) != resource.get("bytes"):
        found.append(f"{name}: {len(content)} bytes; datapackage.json says {resource.get('bytes')}")
    if f"sha256:{hashlib.sha256(content).hexdigest()}" != resource.get("hash"):
        found.append(f"{name}: not the sha256 that datapackage.json says")
    return found


def _of_table(data: Path, resource: dict[str, Any], twin: dict[str, Any] | None) -> list[str]:
    name, schema = resource["path"], resource["schema"]
    fields = {field["name"]: field for field in schema["fields"]}
    try:
        texts = pl.read_csv(data / name, glob=False, infer_schema=False)
    except (pl.exceptions.PolarsError, OSError) as error:
        return [f"{name}: cannot be read as CSV ({type(error).__name__})"]
    if texts.columns != list(fields):
        return [f"{name}: columns {', '.join(texts.columns)}; datapackage.json says {', '.join(fields)}"]
    missing = schema.get("missingValues", [""])
    texts = texts.with_columns(pl.when(pl.all().is_in(missing)).then(None).otherwise(pl.all()).name.keep())
    found = [fault for field in fields.values() for fault in _of_field(name, texts[field["name"]], field)]
    for key in schema.get("uniqueKeys", []):
        if texts.select(key).is_duplicated().any():
            found.append(f"{name}: two rows with the same {', '.join(key)}")
    if twin is not None and not found and (data / twin["path"]).is_file():
        found += _of_twin(data / twin["path"], texts, fields)
    return found


def _of_field(name: str, texts: pl.Series, field: dict[str, Any]) -> list[str]:
    """Faults of one column: one line a rule that it breaks, with the first line of the file that does."""
    limits = field.get("constraints", {})
    kind, label = field["type"], f"{name}, column {field['name']}"
    values = texts
    if kind in ("integer", "number"):
        form = _INTEGER if kind == "integer" else _NUMBER
        wrong = texts.is_not_null() & ~texts.str.contains(f"^(?:{form})$").fill_null(True)
        if wrong.any():
            return [f"{label}, line {_line(wrong)}: not of type {kind}"]
        values = texts.cast(pl.Float64)
    rules = {
        "required": lambda wanted: texts.is_null() if wanted else _none(texts),
        "enum": lambda wanted: texts.is_not_null() & ~texts.is_in([str(one) for one in wanted]),
        "minimum": lambda least: values < least,
        "maximum": lambda most: values > most,
        "pattern": lambda form: texts.is_not_null() & ~texts.str.contains(f"^(?:{form})$"),
    }
    found = []
    for rule, wanted in limits.items():
        if rule not in rules:
            found.append(f"{label}: the constraint {rule} is not known here")
            continue
        broken = rules[rule](wanted).fill_null(False)
        if broken.any():
            found.append(f"{label}, line {_line(broken)}: breaks {rule} {re.sub(chr(10), ' ', str(wanted))}")
    return found


def _of_twin(path: Path, texts: pl.DataFrame, fields: dict[str, Any]) -> list[str]:
    """The Parquet file holds the same rows; text that CSV guards against being run as a formula opens with '."""
    try:
        rows = pl.read_parquet(path, glob=False)
    except (pl.exceptions.PolarsError, OSError) as error:
        return [f"{path.name}: cannot be read as Parquet ({type(error).__name__})"]
    if rows.columns != texts.columns or rows.height != texts.height:
        return [f"{path.name}: not the rows and columns of the CSV"]
    found = []
    for name, field in fields.items():
        there = rows[name]
        if field["type"] == "string":
            written = texts[name].fill_null("")
            there = there.fill_null("").cast(pl.String)
            same = (written == there) | (written == "'" + there)
        else:
            same = texts[name].cast(pl.Float64).eq_missing(there.cast(pl.Float64))
        if not same.all():
            found.append(f"{path.name}, column {name}, row {_line(~same) - 1}: differs from the CSV")
    return found


def _line(wrong: pl.Series) -> int:
    return int(wrong.arg_true()[0]) + 2  # below the header


def _none(texts: pl.Series) -> pl.Series:
    return pl.Series([False] * texts.len())
