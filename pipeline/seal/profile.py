"""A site's profile as sealing reads it: the same file as intake's, with a table [seal] for what only the site holds.

    [seal]
    date_of_birth = { header = "DOB", format = "%d/%m/%Y" }   # becomes the age at measurement
    age = "months"                                            # months under 20; whole years without this line

Intake's own reader checks more; it reads the sealed profile that is written from this one.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import measures
from pipeline.faults import SettingsFault, nearest, printable
from pipeline.seal.toml_text import read_toml

_KEYS: dict[str, type] = {
    "format": str,
    "encoding": str,
    "delimiter": str,
    "quote": str,
    "decimal": str,
    "thousands": str,
    "header_row": int,
    "sheet": str,
    "missing": list,
    "columns": dict,
    "constants": dict,
    "seal": dict,
}
_COLUMN_KEYS = ("header", "unit", "format", "codes", "written_units", "resolution", "scope")
_FORMATS = ("csv", "tsv", "xlsx", "ndjson", "parquet")
TYPED_FORMATS = ("xlsx", "parquet")  # their cells may be real dates


@dataclass(frozen=True)
class SealProfile:
    """What sealing needs of a profile, and the profile's own words for the one that is written."""

    path: Path
    document: Mapping[str, Any]
    birth: Mapping[str, Any] | None = None  # header, format
    is_age_in_months: bool = False

    @property
    def columns(self) -> Mapping[str, Mapping[str, Any]]:
        return self.document["columns"]

    @property
    def constants(self) -> Mapping[str, Any]:
        return self.document.get("constants", {})

    @property
    def format(self) -> str:
        return self.document["format"]

    @property
    def separator(self) -> str:
        return self.document.get("delimiter") or ("\t" if self.format == "tsv" else ",")

    @property
    def quote(self) -> str:
        return self.document.get("quote", '"')

    @property
    def decimal(self) -> str:
        return self.document.get("decimal", ".")

    @property
    def header_row(self) -> int:
        return self.document.get("header_row", 1)

    @property
    def missing(self) -> frozenset[str]:
        return frozenset({*self.document.get("missing", measures.MISSING_MARKS), ""})

    @property
    def headers(self) -> dict[str, str]:
        """field → header, of everything that is read; `date_of_birth` among it."""
        found = {field: column["header"] for field, column in self.columns.items()}
        return found | ({"date_of_birth": self.birth["header"]} if self.birth else {})

    @property
    def sealed_fields(self) -> tuple[str, ...]:
        """The columns of the sealed file, in the registry's order."""
        there = {*self.columns, *(("age",) if self.birth else ())}
        return tuple(field for field in measures.FIELDS if field in there)


def read_seal_profile(path: Path) -> SealProfile:
    """Errors   SettingsFault naming the key, what was found and the choices."""
    document = read_toml(path, "the site's profile; `evenbeam inspect FILE` proposes one")
    _require_known(path, "", document, _KEYS)
    for key, value in document.items():
        if not isinstance(value, _KEYS[key]):
            raise _bad(path, key, f"found {printable(value)}; another kind of value")
    if document.get("format") not in _FORMATS:
        raise _bad(path, "format", f"one of {', '.join(_FORMATS)}")
    seal = document.get("seal", {})
    _require_known(path, "seal", seal, ("date_of_birth", "age"))
    _require_columns(path, document, seal)
    if seal.get("age", "years") not in ("years", "months"):
        raise _bad(path, "seal.age", "years or months")
    if "age" in seal and "date_of_birth" not in seal:
        raise _bad(path, "seal.age", "a date_of_birth beside it: it says how an age is made of that")
    return SealProfile(path, document, seal.get("date_of_birth"), seal.get("age") == "months")


def _require_columns(path: Path, document: Mapping[str, Any], seal: Mapping[str, Any]) -> None:
    columns = document.get("columns", {})
    _require_known(path, "columns", columns, measures.FIELDS)
    _require_known(path, "constants", document.get("constants", {}), measures.FIELDS)
    for name, column in [*columns.items(), *((key, seal[key]) for key in seal if key == "date_of_birth")]:
        if not isinstance(column, dict) or not isinstance(column.get("header"), str) or not column["header"]:
            raise _bad(path, name, 'a table with a header, such as { header = "Weight" }')
        _require_known(path, name, column, _COLUMN_KEYS)
    for name, value in document.get("constants", {}).items():
        if not isinstance(value, str | int | float):
            raise _bad(path, f"constants.{name}", "a text in quotes, a number, true or false")
    if "participant" not in columns:
        raise _bad(path, "columns.participant", "the header of the member number")
    if "age" in columns and "date_of_birth" in seal:
        raise _bad(path, "columns.age", "either an age, or a date_of_birth under [seal]; keep one")
    given = {*columns, *document.get("constants", {}), *(("age",) if "date_of_birth" in seal else ())}
    absent = [
        field.name for field in measures.FIELDS.values() if field.is_required and field.name not in given
    ]
    if absent:
        hint = "; or a date_of_birth under [seal]" if absent == ["age"] else ""
        raise _bad(path, f"columns.{absent[0]}", f"a header or a constant for {', '.join(absent)}{hint}")


def _require_known(path: Path, place: str, given: Mapping[str, Any], known: Collection[str]) -> None:
    for key in given:
        if key not in known:
            raise _bad(path, f"{place}.{key}".lstrip("."), f"a known key{nearest(key, known)}")


def _bad(path: Path, key: str, expected: str) -> SettingsFault:
    return SettingsFault(
        "bad settings",
        where=f"{path}, {printable(key)}",
        expected=expected,
        next="correct the profile; nothing was sealed",
    )
