"""The descriptor against the rules of the Data Package and Table Schema standard, version 2.

The rules are asserted here one by one, from the standard's text and profiles as known (from memory, with the
profiles' published field names): the project does not depend on a validator.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re

import polars as pl
import pytest
from invented_curves import derived
from invented_store import data_quality, nothing, percentile, prevalence

from pipeline.disclosure import protect
from pipeline.programme import Disclosure
from pipeline.release.contents import contents_of, written
from pipeline.release.csv_file import csv_pieces
from pipeline.release.data_package import data_package, name_of
from pipeline.release.parquet_file import write_parquet
from pipeline.release.schema import TABLES
from pipeline.release.table import published_table

FIELD_TYPES = {
    "string",
    "number",
    "integer",
    "boolean",
    "object",
    "list",
    "datetime",
    "date",
    "time",
    "year",
    "yearmonth",
    "duration",
    "geopoint",
    "geojson",
    "any",
    "array",
}
CONSTRAINTS = {  # constraint → types it may stand on
    "required": FIELD_TYPES,
    "unique": FIELD_TYPES,
    "enum": FIELD_TYPES,
    "pattern": {"string"},
    "minLength": {"string"},
    "maxLength": {"string"},
    "minimum": {"integer", "number", "date", "time", "datetime", "year", "yearmonth", "duration"},
    "maximum": {"integer", "number", "date", "time", "datetime", "year", "yearmonth", "duration"},
}


@pytest.fixture(scope="module")
def package(tmp_path_factory) -> tuple[dict, dict[str, bytes]]:
    rows = {
        "prevalence": prevalence(),
        "percentile": percentile(),
        "data_quality": data_quality().with_columns(site=pl.col("site").replace("", None)),
        **derived(),
    }
    rows |= {table.name: nothing(table) for table in TABLES if table.name not in rows}
    protected = protect(rows, Disclosure())
    folder = tmp_path_factory.mktemp("data")
    for table in TABLES:
        frame = published_table(table, protected[table.name])
        written(folder / f"{table.name}.csv", csv_pieces(frame))
        write_parquet(frame, folder / f"{table.name}.parquet")
    told = contents_of(folder)
    files = {name: (folder / name).read_bytes() for name in told}
    descriptor = data_package("Harbour District Movement Programme", "2026-01-15", list(TABLES), told)
    return json.loads(json.dumps(descriptor)), files


def test_the_package_has_a_profile_a_url_usable_name_and_resources(package):
    descriptor, _ = package
    assert descriptor["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert re.fullmatch(r"[-a-z0-9._/]+", descriptor["name"])
    assert descriptor["title"] and descriptor["description"]
    assert len(descriptor["resources"]) == 2 * len(TABLES)


def test_every_resource_has_a_unique_name_and_a_safe_path_with_its_size_and_hash(package):
    descriptor, files = package
    names = [resource["name"] for resource in descriptor["resources"]]
    assert len(set(names)) == len(names) and all(re.fullmatch(r"[-a-z0-9._/]+", name) for name in names)
    for resource in descriptor["resources"]:
        path = resource["path"]
        assert not path.startswith(("/", "~", ".")) and ".." not in path and "://" not in path
        content = files[path]
        assert resource["bytes"] == len(content)
        assert resource["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()
        assert resource["$schema"] == "https://datapackage.org/profiles/2.0/dataresource.json"
        assert re.fullmatch(r"[a-z]+/[-a-z0-9.+]+", resource["mediatype"])
    assert {resource["path"] for resource in descriptor["resources"]} == set(files)


def test_every_table_has_a_schema_whose_fields_and_constraints_the_standard_knows(package):
    descriptor, _ = package
    tables = [resource for resource in descriptor["resources"] if resource.get("type") == "table"]
    assert len(tables) == len(TABLES)
    for resource in tables:
        schema = resource["schema"]
        fields = schema["fields"]
        assert fields and len({field["name"] for field in fields}) == len(fields)
        for field in fields:
            assert field["type"] in FIELD_TYPES
            assert field["title"] and field["description"] and field["unit"] and field["source"]
            for name, value in field.get("constraints", {}).items():
                assert field["type"] in CONSTRAINTS[name]
                if name == "pattern":
                    re.compile(value)
        assert schema["missingValues"] == [""]
        for key in schema["uniqueKeys"]:
            assert set(key) <= {field["name"] for field in fields}


def test_the_rows_of_each_csv_keep_what_its_schema_says(package):
    descriptor, files = package
    for resource in (r for r in descriptor["resources"] if r.get("type") == "table"):
        header, *rows = csv.reader(
            io.StringIO(files[resource["path"]].decode(resource["encoding"]), newline="")
        )
        fields = resource["schema"]["fields"]
        assert header == [field["name"] for field in fields]
        assert rows or resource["name"] not in ("prevalence", "percentile", "data_quality", *derived())
        for row in rows:
            for field, text in zip(fields, row, strict=True):
                assert _is_valid(text, field), (resource["name"], field["name"], text)


def _is_valid(text: str, field: dict) -> bool:
    limits = field.get("constraints", {})
    if text == "":
        return not limits.get("required", False)
    if field["type"] == "integer" and not re.fullmatch(r"[+-]?\d+", text):
        return False
    if field["type"] == "number" and not re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", text):
        return False
    number = float(text) if field["type"] in ("integer", "number") else 0.0
    return (
        limits.get("minimum", number) <= number <= limits.get("maximum", number)
        and text in limits.get("enum", [text])
        and re.fullmatch(limits.get("pattern", ".*"), text, re.DOTALL) is not None
    )


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Harbour District Movement Programme", "harbour-district-movement-programme"),
        ("Größe & Höhe", "groe-hohe"),
        ("動き", "programme"),
        ("../../etc", "etc"),
    ],
)
def test_any_title_gives_a_name_that_a_package_may_have(title, name):
    assert name_of(title) == name
