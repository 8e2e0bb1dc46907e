"""A site's profile → the parameters of 10_normalised.sql, and the print steps that 11_reading_checked.sql goes by.

Nothing of a profile is ever written into a statement: patterns, factors, codes and formats are values.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from pipeline import measures
from pipeline.measures import SEX_WORDS, YES_NO_WORDS
from pipeline.programme import MOST_DATE_FORMATS, Column, Profile
from pipeline.store import Store

TYPED_FORMATS = ("xlsx", "parquet")  # their cells may be real dates, which arrive as ISO 8601

_WRITTEN = ("length", "mass")


def parameters_of(profile: Profile, *, period_kind: str, pads: tuple[bytes, bytes]) -> dict[str, Any]:
    """Every parameter that 10_normalised.sql names but `way`; equal where files are written alike."""
    inner_pad, outer_pad = pads
    values: dict[str, Any] = {
        "missing": sorted({*profile.missing, ""}),
        "decimal": profile.decimal,
        "thousands": profile.thousands,
        "number_pattern": number_pattern(profile.decimal, profile.thousands),
        "period_kind": period_kind,
        "inner_pad": inner_pad,
        "outer_pad": outer_pad,
        "sex_codes": _codes(profile, "sex", SEX_WORDS),
        "athlete_mode_codes": _codes(profile, "athlete_mode", YES_NO_WORDS),
        "age_is_in_months": _unit(profile, "age").code == "mo",
    }
    values |= _moments(profile)
    for field in measures.FIELDS.values():
        if field.name != "participant":
            values[f"constant_{field.name}"] = _constant(profile, field.name)
        if field.kind == "number":
            times, over = _factor(profile, field)
            values |= {f"{field.name}_times": times, f"{field.name}_over": over}
            if field.dimension in _WRITTEN:
                values[f"{field.name}_is_written"] = _column(profile, field.name).written_units
    return values


def print_steps(profile: Profile) -> dict[str, float]:
    """The print resolution of the file's fields in canonical units, the coarsest of each kind.

    height_step_cm, weight_step_kg, mass_step_kg, percent_step, in this order: columns of file_of_pass.
    """

    def step(name: str) -> float:
        column, unit = _column(profile, name), _unit(profile, name)
        received = unit.step if column.resolution is None else Fraction(str(column.resolution))
        return float(received * unit.factor)

    masses = [
        name
        for name, field in measures.FIELDS.items()
        if field.dimension == "mass" and name in profile.columns
    ]
    shares = [
        name
        for name, field in measures.FIELDS.items()
        if field.dimension == "share" and name in profile.columns
    ]
    return {
        "height_step_cm": step("height"),
        "weight_step_kg": step("weight"),
        "mass_step_kg": max((step(name) for name in masses), default=step("weight")),
        "percent_step": max((step(name) for name in shares), default=float(measures.UNITS["%"].step)),
    }


def normalise(store: Store, ways: Sequence[Mapping[str, Any]]) -> None:
    """received → normalised: the files of one way of writing (file_of_pass.way) after the other.

    Most profiles have no written units: they are spared the long statement for them.
    """
    store.execute_file("09_normalised.sql")
    for way, parameters in enumerate(ways):
        is_written = any(
            parameters[f"{name}_is_written"]
            for name, field in measures.FIELDS.items()
            if field.dimension in _WRITTEN
        )
        store.execute_file(
            "09_written_quantity.sql" if is_written else "08_no_written_quantity.sql", way=way, **parameters
        )
        store.execute_file("10_normalised.sql", way=way, **parameters)
    if len(ways) > 1:
        store.execute_file("10_normalised_in_order.sql")


def number_pattern(decimal: str, thousands: str) -> str:
    """What a number looks like in this writing: 1,234.5 or 1234.5 for "." and ",".

    A thousands sign may stand only between groups of three digits. Blanks around are allowed; a per cent sign
    is taken off before, where the field is a share. Letters never pass.
    """
    sign = r"\s*[+-]?"
    whole = r"[0-9]+"
    if thousands:
        group = r"[ \x{00A0}\x{202F}]" if thousands == " " else re.escape(thousands)
        whole = rf"(?:[0-9]+|[0-9]{{1,3}}(?:{group}[0-9]{{3}})+)"
    point = re.escape(decimal)
    return rf"{sign}(?:{whole}(?:{point}[0-9]+)?|{point}[0-9]+)\s*"


def zone_pattern(form: str) -> str:
    """The whole of a text with a zone, where the format has %z: what stands before and behind it are groups 1 and 2.

    At the end of the format the zone is at the end of the text; elsewhere it follows the clock (23:45:00 -0500 2025),
    since -05 alone may as well be part of a date.
    """
    zone = r"\s*(?:Z|[+-][0-9]{2}(?::?[0-9]{2})?)"
    if form.rstrip().endswith("%z"):
        return rf"^(.*[^\s])()?{zone}\s*$"
    clock = r"[0-9]:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?:\s*[AaPp][Mm])?"
    return rf"^(.*{clock}){zone}(\s.*)$"


def _column(profile: Profile, name: str) -> Column:
    return profile.columns.get(name) or Column(header=name)


def _unit(profile: Profile, name: str) -> measures.Unit:
    """The unit in which the file writes a field; a constant is in the canonical unit."""
    received = _column(profile, name).unit
    return (received and measures.unit_named(received)) or measures.UNITS[measures.FIELDS[name].unit]


def _factor(profile: Profile, field: measures.Field) -> tuple[float, float]:
    """The exact factor to the canonical unit as two whole numbers, so that kg, cm and % are left as they are.

    Ages are left in their own unit: 10_normalised.sql decides between years and months.
    """
    if field.name == "age":
        return 1.0, 1.0
    factor = _unit(profile, field.name).factor / measures.UNITS[field.unit].factor
    return float(factor.numerator), float(factor.denominator)


def _codes(profile: Profile, name: str, words: Mapping[str, str]) -> dict[str, list[str]]:
    """A DuckDB map from the file's word to the project's: as given, in lower and in upper case."""
    given = _column(profile, name).codes or words
    known = {word.strip().upper(): meaning for word, meaning in given.items()}
    known |= given
    known |= {word.strip().lower(): meaning for word, meaning in given.items()}
    return {"key": list(known), "value": list(known.values())}


def _moments(profile: Profile) -> dict[str, Any]:
    given = _column(profile, "measured_on").format
    formats = [given] if isinstance(given, str) else list(given or ())
    padded: list[str | None] = [*formats, *[None] * (MOST_DATE_FORMATS - len(formats))]
    values: dict[str, Any] = {}
    for n, form in enumerate(padded, start=1):
        values[f"format_{n}"] = form and re.sub(r"\s*%z", "", form)
        values[f"zone_{n}"] = zone_pattern(form) if form and "%z" in form else None
    values["is_iso_allowed"] = not formats or profile.format in TYPED_FORMATS
    return values


def _constant(profile: Profile, name: str) -> str | None:
    """A constant as the file would have written it, so that one way of reading serves both."""
    value = profile.constants.get(name)
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return str(value).replace(".", profile.decimal)
    return value
