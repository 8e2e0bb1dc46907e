"""The value of an observation as the text of a field, in its canonical unit.

Units are converted exactly. Whatever does not say one thing for certain (a unit of another kind, no UCUM code, a
comparator, two values) becomes text that no number can be read from, and the row is held.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from pipeline import measures
from pipeline.observation_codes import UCUM

# Bounded, so that 1e999999999 costs nothing.
_NUMBER = re.compile(r"-?[0-9]{1,30}(?:\.[0-9]{1,30})?(?:[eE][+-]?[0-9]{1,2})?")
_ANNOTATION = re.compile(r"\{[^{}]*\}")
_PLAIN_WORDS = {"[lb_av]": "lb", "[in_i]": "in", "[ft_i]": "ft", "[stone_av]": "st"}


class Digits(str):
    """A JSON number as it was written."""


def said_of(holder: Mapping[str, Any], field: measures.Field, *, in_months: bool = False) -> str | None:
    """What an Observation, or a component of one, says of a field; None where it says that nothing was measured.

    `in_months`: an age is wanted in months, and one in years cannot be read.
    """
    values = {key: value for key, value in holder.items() if re.match(r"value[A-Z]", key)}
    if not values:
        return None
    if len(values) > 1 or "dataAbsentReason" in holder:
        return "(no single value)"
    [(kind, value)] = values.items()
    if field.kind == "number":
        return _number(kind, value, field, in_months)
    if kind == "valueBoolean" and isinstance(value, bool):
        return "yes" if value else "no"
    if kind == "valueCodeableConcept" and isinstance(value, Mapping):
        codings = [one for one in _listed(value.get("coding")) if isinstance(one.get("code"), str)]
        return codings[0]["code"] if codings else "(no code)"
    return str(value) if kind in ("valueString", "valueInteger") else "(no code)"


def plain(number: Fraction) -> str:
    """Digits without an exponent: exact where the decimal ends, else the nearest double's."""
    rest, places = number.denominator, 0
    for prime in (2, 5):
        times = 0
        while rest % prime == 0:
            rest, times = rest // prime, times + 1
        places = max(places, times)
    if rest != 1:
        return format(Decimal(repr(float(number))), "f")
    digits = str(abs(number.numerator) * 10**places // number.denominator).rjust(places + 1, "0")
    whole, part = (digits[:-places], digits[-places:].rstrip("0")) if places else (digits, "")
    return ("-" if number < 0 else "") + whole + (f".{part}" if part else "")


def _number(kind: str, value: Any, field: measures.Field, in_months: bool) -> str:
    if kind == "valueInteger" and field.dimension == "level":
        value = {"value": value, "system": UCUM, "code": "1"}
    elif kind != "valueQuantity" or not isinstance(value, Mapping):
        return "(no quantity)"
    digits, code = value.get("value"), str(value.get("code", ""))
    if not isinstance(digits, Digits) or not _NUMBER.fullmatch(digits):
        return "(no number)"
    factor = _factor(code, field, in_months) if value.get("system") == UCUM else None
    if value.get("comparator"):
        return f"{value['comparator']} {digits}"
    if factor is None:
        return f"{digits} {_PLAIN_WORDS.get(code, code or '(no unit)')}"
    return plain(Fraction(digits) * factor)


def _factor(code: str, field: measures.Field, in_months: bool) -> Fraction | None:
    """From a UCUM code to the field's canonical unit; None where the unit is of another kind or not known.

    Annotations in braces have no meaning in UCUM, and so "{beats}/min" is "/min"; a level has no unit but these.
    """
    bare = _ANNOTATION.sub("", code)
    if field.dimension == "level":
        return Fraction(1) if code and bare in ("", "1") else None
    if bare.startswith("1/"):
        bare = bare[1:]
    unit = measures.UNITS.get(bare)
    if unit is None or unit.dimension != field.dimension:
        return None
    if in_months:
        return Fraction(1) if unit.code == "mo" else None
    return unit.factor / measures.UNITS[field.unit].factor


def _listed(value: Any) -> list[Mapping[str, Any]]:
    return [one for one in value if isinstance(one, Mapping)] if isinstance(value, list) else []
