"""FHIR R4 in NDJSON, as Bulk Data exports lay it out: one resource a line, Observations and their Patients.

An observation, or a component of one, is a value of the field that its `system|code` means; values of one subject,
moment and analyser make one reading (sql/06_received_from_observations.sql). The line of a reading is that of its
first observation. Codes that mean no field are left alone, as unused columns are.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import measures, observation_codes
from pipeline.faults import FileHeld, printable
from pipeline.intake import received
from pipeline.intake.readers.fhir_people import identifying_elements
from pipeline.intake.readers.fhir_value import Digits, said_of
from pipeline.intake.received import BrokenLine, Look
from pipeline.programme import Limits, Profile
from pipeline.seal import decoding
from pipeline.seal.json_lines import require_text
from pipeline.store import Store

READABLE = ("final", "amended", "corrected")

_BATCH = 20_000
_SAMPLE_ROWS = 200
_MOST_CODES = 500
_MOST_PATHS = 200  # different places of free text, and kinds of resource, that are told apart
_DEEPEST = 40
_OBSERVATION = {
    "line": pl.Int64,
    **dict.fromkeys(("subject", "moment", "device", "field", "said"), pl.String),
}
_PATIENT = {"subject": pl.String, "gender": pl.String}

Resource = Mapping[str, Any]


class _Twice(ValueError):
    """A key stands twice in one object."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise _Twice
    return found


_decoder = json.JSONDecoder(object_pairs_hook=_once, parse_float=Digits, parse_int=Digits, parse_constant=str)


@dataclass
class Seen:
    """What one pass over the resources of a file shows."""

    kinds: dict[str, int] = field(default_factory=dict)  # resource type → how many
    identifying: dict[str, str] = field(default_factory=dict)  # element → kind
    codes: dict[str, int] = field(default_factory=dict)  # system|code → how many
    fields: set[str] = field(default_factory=set)  # those that some value was found for
    sample: list[dict[str, str]] = field(default_factory=list)  # header → text, of the first resources
    spread: list[dict[str, str]] = field(default_factory=list)  # the same, of resources all over the rest


class FhirReader:
    """One NDJSON file of FHIR resources."""

    def __init__(self, path: Path, profile: Profile, limits: Limits, *, where: str):
        self._profile, self._where, self._most = profile, where, limits.line_characters
        self._facts = decoding.survey(
            path,
            where=where,
            encoding=profile.encoding,
            most_bytes=limits.unpacked_bytes,
            most_rows=limits.rows,
            most_characters=limits.line_characters,
        )
        headers = {name: observation_codes.tokens_of(one.header) for name, one in profile.columns.items()}
        self._fields = {token: name for name, tokens in headers.items() for token in tokens if "|" in token}
        self._has_gender = observation_codes.GENDER in headers.get("sex", ())
        age = profile.columns.get("age")
        self._in_months = bool(age and age.unit and measures.unit_named(age.unit).code == "mo")

    def look(self, path: Path) -> Look:
        """Errors   FileHeld: no resource, one of another type, or no value of a required field."""
        seen = self.survey(path)
        if not seen.identifying:  # who somebody is comes before anything else that is wrong
            self._require_observations(seen)
        headers = list(dict.fromkeys(column.header for column in self._profile.columns.values()))
        written = dict.fromkeys(key for row in (*seen.sample, *seen.spread) for key in row)
        paths = [key for key in written if key not in headers][:_MOST_PATHS]
        sample, spread = (
            tuple(tuple(row.get(key, "") for key in (*headers, *paths)) for row in rows)
            for rows in (seen.sample, seen.spread)
        )
        return Look(
            (*headers, *paths),
            sample,
            self._facts.encoding.removesuffix("-sig"),
            address=received.address_at(self._facts.address_line),
            spread=spread,
            identifying=tuple(seen.identifying.items()),
        )

    def survey(self, path: Path) -> Seen:
        """Every resource looked at once."""
        seen, stride = Seen(), 1
        for n, (_, resource, _) in enumerate(self._resources(path)):
            if resource is None:
                continue
            kind = printable(str(resource.get("resourceType", "none")))
            if kind in seen.kinds or len(seen.kinds) < _MOST_PATHS:
                seen.kinds[kind] = seen.kinds.get(kind, 0) + 1
            if len(seen.identifying) < _MOST_PATHS:
                seen.identifying.update(islice(identifying_elements(resource), _MOST_PATHS))
            for code in _codes_within(resource):
                if code in seen.codes or len(seen.codes) < _MOST_CODES:
                    seen.codes[code] = seen.codes.get(code, 0) + 1
            seen.fields.update(self._fields[code] for code in _codes_within(resource) if code in self._fields)
            if kind == "Patient" and self._has_gender and resource.get("gender"):
                seen.fields.add("sex")
            if len(seen.sample) < _SAMPLE_ROWS:
                seen.sample.append(self._sampled(resource))
            elif n % stride == 0:
                seen.spread.append(self._sampled(resource))
                if len(seen.spread) > _SAMPLE_ROWS:
                    seen.spread, stride = seen.spread[::2], stride * 2
        return seen

    def read(self, store: Store, path: Path, places: Mapping[str, int], width: int, spool: Path) -> None:
        received.begin(store)
        store.execute_file("06_observation.sql")
        broken: list[BrokenLine] = []
        observed: list[tuple] = []
        patients: list[tuple] = []
        for line, resource, fault in self._resources(path):
            if resource is None:
                broken.append(fault)
            elif resource.get("resourceType") == "Patient":
                patients.append((_text(resource.get("id")), _text(resource.get("gender"))))
            else:
                observed += self._values(line, resource)
            if len(observed) >= _BATCH or len(patients) >= _BATCH:
                _append(store, observed, patients)
                observed, patients = [], []
        _append(store, observed, patients)
        store.execute_file("06_received_from_observations.sql", has_gender=self._has_gender)
        received.append(store, [one.line for one in broken], [[] for _ in broken], {})
        received.append_broken(store, broken)

    def _values(self, line: int, resource: Resource) -> Iterator[tuple]:
        """(line, subject, moment, device, field, said) of an Observation and its components."""
        where = (
            line,
            _referred(resource.get("subject")),
            _moment(resource),
            _referred(resource.get("device")),
        )
        is_readable = resource.get("status") in READABLE
        for holder in (resource, *_listed(resource.get("component"))):
            names = {self._fields[code] for code in _codes_of(holder) if code in self._fields}
            for name in sorted(names):
                if not is_readable:
                    yield (*where, None, None)
                elif len(names) > 1:
                    yield (*where, name, "(coded as two fields)")
                else:
                    said = said_of(holder, measures.FIELDS[name], in_months=self._in_months and name == "age")
                    is_number = measures.FIELDS[name].kind == "number"
                    sign = self._profile.decimal
                    yield (*where, name, said.replace(".", sign) if said and is_number else said)

    def _sampled(self, resource: Resource) -> dict[str, str]:
        """What the search for direct identifiers looks at: who, when, and free text."""
        kind = str(resource.get("resourceType", ""))
        is_patient = kind == "Patient"
        who = _text(resource.get("id")) if is_patient else _referred(resource.get("subject"))
        row = {self._profile.header_of("participant"): who or ""}
        if not is_patient and "measured_on" in self._profile.columns:
            row[self._profile.header_of("measured_on")] = _moment(resource) or ""
        row.update(_free_texts(resource, kind))
        return row

    def _resources(self, path: Path) -> Iterator[tuple[int, Resource | None, BrokenLine | None]]:
        """(physical line, its resource or None, what is wrong with it) of every line that is not blank."""
        with decoding.text_of(path, self._facts.encoding, where=self._where) as text:
            lines = decoding.lines_of(text, where=self._where, most=self._most)
            for line, content in enumerate(lines, start=1):
                if not content.strip():
                    continue
                try:
                    value = _resource_of(content)
                except _Twice:
                    yield line, None, BrokenLine(line, "too_many_fields", "a key twice", "each key once")
                except (ValueError, RecursionError):
                    yield (
                        line,
                        None,
                        BrokenLine(line, "row_cut_off", "a line that is no JSON object", "one resource"),
                    )
                else:
                    if isinstance(value, dict):
                        yield line, value, None
                    else:
                        yield line, None, BrokenLine(line, "row_cut_off", "no JSON object", "one resource")

    def _require_observations(self, seen: Seen) -> None:
        others = sorted(set(seen.kinds) - {"Observation", "Patient"})
        if others:
            raise self._held(
                "other_format",
                f"resources of type {', '.join(others[:5])}",
                "Observation and Patient resources, one a line",
                "export those two types as NDJSON and send them in one file",
            )
        if not seen.kinds.get("Observation"):
            raise self._held(
                "no_rows",
                "Patient resources and no Observation" if seen.kinds else "no FHIR resource",
                "Observation resources, one a line",
                "send the observations, with their patients in the same file",
            )
        for name, column in self._profile.columns.items():
            is_coded = any("|" in token for token in observation_codes.tokens_of(column.header))
            if measures.FIELDS[name].is_required and is_coded and name not in seen.fields:
                raise self._held(
                    "header_missing",
                    f"no value of {name} (codes: {', '.join(shown_codes(seen.codes)) or 'none'})",
                    f"an Observation with code {' or '.join(observation_codes.tokens_of(column.header))}",
                    f"name the code under [columns] of the site's profile, or give {name} under [constants]",
                )

    def _held(self, code: str, found: str, expected: str, next_step: str) -> FileHeld:
        return FileHeld("held", where=self._where, found=found, expected=expected, next=next_step, code=code)


def _resource_of(content: str) -> Any:
    """Errors   _Twice; ValueError, RecursionError for what is no JSON, or no text where it is read out."""
    value = _decoder.decode(content.removeprefix("\ufeff").strip())
    require_text(content, value)
    return value


def subject_and_moment(content: str) -> tuple[str | None, str | None]:
    """Whom and when a line is about; (None, None) for one that tells neither."""
    try:
        resource = _resource_of(content)
    except (ValueError, RecursionError):
        return None, None
    if not isinstance(resource, dict):
        return None, None
    if resource.get("resourceType") == "Patient":
        return _text(resource.get("id")), None
    return _referred(resource.get("subject")), _moment(resource)


def shown_codes(codes: Mapping[str, int], most: int = 12) -> list[str]:
    """The commonest codes of a file, fit to be shown."""
    ordered = sorted(codes, key=lambda code: (-codes[code], code))
    return [printable(code, 80) for code in ordered[:most]] + (["…"] if len(ordered) > most else [])


def _append(store: Store, observed: list[tuple], patients: list[tuple]) -> None:
    for table, rows, schema in (("observation", observed, _OBSERVATION), ("patient", patients, _PATIENT)):
        if rows:
            with store.lent("delivered", pl.DataFrame(rows, schema=schema, orient="row")):
                store.execute(f"insert into {table} by name select * from delivered")


def _codes_within(resource: Resource) -> list[str]:
    if resource.get("resourceType") != "Observation":
        return []
    holders = (resource, *_listed(resource.get("component")))
    return [code for holder in holders for code in _codes_of(holder)]


def _codes_of(holder: Resource) -> list[str]:
    """`system|code` of each coding of an Observation or component."""
    concept = holder.get("code")
    codings = _listed(concept.get("coding")) if isinstance(concept, Mapping) else []
    return [f"{one.get('system', '')}|{one['code']}" for one in codings if isinstance(one.get("code"), str)]


def _moment(resource: Resource) -> str | None:
    return _text(resource.get("effectiveDateTime") or resource.get("effectiveInstant"))


def _referred(reference: Any) -> str | None:
    """The id at the end of a reference: Patient/17, or its address on a server, with or without a version."""
    written = reference.get("reference") if isinstance(reference, Mapping) else None
    if not isinstance(written, str) or not written:
        return None
    return written.split("/_history/")[0].rsplit("/", 1)[-1] or None


def _free_texts(value: Any, path: str, depth: int = 0) -> Iterator[tuple[str, str]]:
    """(path, text) of what somebody may have written by hand: notes, and values that are text.

    Whatever lies deeper than _DEEPEST is refused by the search for identifying elements.
    """
    if depth > _DEEPEST:
        return
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _free_texts(inner, f"{path}.{key}", depth + 1)
    elif isinstance(value, list):
        for inner in value:
            yield from _free_texts(inner, path, depth + 1)
    elif type(value) is str and path.endswith((".note.text", ".valueString", ".comment", ".valueMarkdown")):
        yield path, value


def _listed(value: Any) -> list[Resource]:
    return [one for one in value if isinstance(one, Mapping)] if isinstance(value, list) else []


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None
