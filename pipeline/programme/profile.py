"""A site's profile: how its files are written, and where each field stands in them."""

from __future__ import annotations

import hashlib
import re
from functools import cached_property
from typing import Any, Literal

from pydantic import Field, model_validator

from pipeline import measures, observation_codes
from pipeline.faults import nearest
from pipeline.measures import MISSING_MARKS
from pipeline.programme.section import Section

MOST_DATE_FORMATS = 4
_DIRECTIVE = re.compile(r"%-?([A-Za-z])")
_DATE_FORMAT = re.compile(r"(?:[^%\x00]|%%|%[dmYybBaAHIMSfpzj]|%-[dmHIMS]){1,60}")
_DAY_MONTH_YEAR = (("%d", "%-d"), ("%m", "%-m", "%b", "%B"), ("%Y", "%y"))


class Column(Section):
    """Where a field stands in a site's files, and how it is written there."""

    header: str = Field(min_length=1, max_length=1000)
    unit: str | None = None
    format: str | tuple[str, ...] | None = None  # strptime formats of a date or date and time
    codes: dict[str, str] | None = None  # the file's word → female, male / yes, no
    written_units: bool = False  # values such as 5'4", 165 cm, 11 st 4 lb carry their own unit
    resolution: float | None = Field(None, ge=1e-6, le=1e6)  # print resolution in the received unit
    scope: Literal["programme", "site"] | None = None  # participant only: whose numbers these are


class Profile(Section):
    format: Literal["csv", "tsv", "xlsx", "ndjson", "parquet", "fhir"]
    encoding: str | None = None  # detected when absent
    delimiter: str | None = Field(None, min_length=1, max_length=1)
    quote: str = Field('"', max_length=1)
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'"] = ""
    header_row: int = Field(1, ge=1, le=100)  # line of the column headers, for files with a preamble
    sheet: str | None = None  # xlsx: the first sheet when absent
    missing: tuple[str, ...] = MISSING_MARKS
    columns: dict[str, Column]
    constants: dict[str, str | int | float | bool] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _observations_have_their_usual_codes(cls, values: Any) -> Any:
        """format = "fhir": a field without a header is read by its usual codes."""
        if not isinstance(values, dict) or values.get("format") != "fhir":
            return values
        given, constants = values.get("columns", {}), values.get("constants", {})
        if not isinstance(given, dict) or not isinstance(constants, dict):
            return values
        columns: dict[str, Any] = {
            name: {"header": header}
            for name, header in observation_codes.usual_headers().items()
            if name not in constants
        }
        for name, column in given.items():
            columns[name] = {**columns.get(name, {}), **column} if isinstance(column, dict) else column
        return {**values, "columns": columns}

    @model_validator(mode="after")
    def _fields_are_known_and_complete(self) -> Profile:
        for name in (*self.columns, *self.constants):
            if name not in measures.FIELDS:
                raise ValueError(f"no field {name}{nearest(name, measures.FIELDS)}")
        twice = sorted(set(self.columns) & set(self.constants))
        if twice:
            raise ValueError(f"{twice[0]} stands under [columns] and under [constants]; keep one")
        absent = [
            f.name
            for f in measures.FIELDS.values()
            if f.is_required and f.name not in self.columns and f.name not in self.constants
        ]
        if absent:
            raise ValueError(
                f"missing: {', '.join(absent)}; give each a header under [columns] or a value under [constants]"
            )
        if "participant" in self.constants:
            raise ValueError("participant cannot be a constant: each person needs a number of their own")
        for name, column in self.columns.items():
            field = measures.FIELDS[name]
            if column.unit is not None:
                unit = measures.unit_named(column.unit)
                if field.kind != "number":
                    raise ValueError(f"{name} has no unit; found {column.unit}")
                if unit is None or unit.dimension != field.dimension:
                    choices = ", ".join(
                        u.code for u in measures.UNITS.values() if u.dimension == field.dimension
                    )
                    raise ValueError(f"{name} cannot be in {column.unit}; units are {choices}")
            if column.scope is not None and name != "participant":
                raise ValueError(f"{name} has no scope; only participant has one")
        return self

    @model_validator(mode="after")
    def _columns_can_be_read(self) -> Profile:
        """Codes, formats and written units stand where they mean something, and mean one thing."""
        meanings = {"sex": ("female", "male"), "yes_no": ("yes", "no")}
        for name, column in self.columns.items():
            field = measures.FIELDS[name]
            if column.codes is not None:
                meant = meanings.get(field.kind)
                if meant is None:
                    raise ValueError(f"{name} has no codes; only sex and athlete_mode have")
                unknown = [f"{word} = {value}" for word, value in column.codes.items() if value not in meant]
                if unknown:
                    raise ValueError(
                        f"{name}: each word must mean {' or '.join(meant)}; found {', '.join(unknown)}"
                    )
                if len({word.strip().lower() for word in column.codes}) < len(column.codes):
                    raise ValueError(f"{name}: a word stands twice in codes, but for its letter case")
            if column.format is not None and field.kind != "moment":
                raise ValueError(f"{name} has no format; only measured_on has one")
            formats = (column.format,) if isinstance(column.format, str) else column.format or ()
            if len(formats) > MOST_DATE_FORMATS:
                raise ValueError(f"{name}: at most {MOST_DATE_FORMATS} formats; found {len(formats)}")
            for form in formats:
                if not all(any(sign in form for sign in signs) for signs in _DAY_MONTH_YEAR):
                    raise ValueError(
                        f"{name}: a format names day, month and year, such as %d/%m/%Y; found {form}"
                    )
                if not _DATE_FORMAT.fullmatch(form):
                    raise ValueError(
                        f"{name}: a format is made of %d %m %Y %y %b %B %a %A %H %I %M %S %f %p %z %j and signs, each "
                        f"once; found {form}"
                    )
                if len(_DIRECTIVE.findall(form)) != len(set(_DIRECTIVE.findall(form))):
                    raise ValueError(f"{name}: a format names each part once; found {form}")
            if column.written_units and field.dimension not in ("length", "mass"):
                raise ValueError(f"{name} cannot have written units; only heights and masses can")
        if self.separator in self._no_delimiters or self.quote in ("\r", "\n", "\0"):
            raise ValueError("delimiter and quote are two different signs, and no line end")
        if self.thousands == self.decimal:
            raise ValueError(f"decimal and thousands are both {self.decimal}; they must differ")
        return self

    @model_validator(mode="after")
    def _observations_can_be_found(self) -> Profile:
        """format = "fhir": every header names codes, each code means one field, and units come with the values."""
        if self.format != "fhir":
            return self
        elements = {
            "participant": observation_codes.SUBJECT,
            "measured_on": observation_codes.MOMENT,
            "sex": observation_codes.GENDER,
            "device": observation_codes.DEVICE,
        }
        taken: dict[str, str] = {}
        for name, column in self.columns.items():
            for token in observation_codes.tokens_of(column.header):
                if "|" not in token and token != elements.get(name):
                    raise ValueError(
                        f"{name}: a code is written system|code, such as http://loinc.org|29463-7; found {token}"
                    )
                if taken.setdefault(token, name) != name:
                    raise ValueError(f"{token} stands for {taken[token]} and for {name}; keep one")
            if column.written_units or column.format is not None:
                raise ValueError(f"{name}: FHIR says how values are written; leave out format and written_units")
            if column.unit is not None and name != "age":
                raise ValueError(f"{name}: in FHIR the unit comes with the value; leave it out")
        return self

    @property
    def _no_delimiters(self) -> tuple[str, ...]:
        return tuple(sign for sign in ("\r", "\n", "\0", self.quote) if sign)

    @property
    def separator(self) -> str:
        return self.delimiter or ("\t" if self.format == "tsv" else ",")

    @property
    def sheet_read(self) -> str | None:
        """The sheet of a workbook that is read, "" for the first; None where files are no workbooks."""
        return (self.sheet or "") if self.format == "xlsx" else None

    def header_of(self, field: str) -> str:
        """The header of a field's column; "" where the files do not carry the field."""
        return self.columns[field].header if field in self.columns else ""

    @cached_property
    def sha256(self) -> str:
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()
