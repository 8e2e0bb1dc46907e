"""What each reason to hold a row expected, in the words of the site's profile."""

from __future__ import annotations

from pipeline import measures
from pipeline.checks import CHECKS, check_named
from pipeline.programme import Profile


def expected_of(profile: Profile, code: str, named_field: str) -> tuple[str, str]:
    """(field, what was expected) of a reason to hold a row; `named_field` stands after the colon of its code."""
    if not named_field:
        return CHECKS[code].field, CHECKS[code].expected
    if code == "unreadable":
        return named_field, how_written(profile, named_field)
    return named_field, check_named(f"{code}:{named_field}").expected


def how_written(profile: Profile, name: str) -> str:
    """How the profile says that a field is written: "a number of pounds written with a point ([lb_av])"."""
    field, column = measures.FIELDS[name], profile.columns.get(name)
    if field.kind == "number" and profile.format == "fhir":
        codes = [unit.code for unit in measures.UNITS.values() if unit.dimension == field.dimension]
        return f"one quantity with a UCUM unit of its kind: {', '.join(codes)}"
    if field.kind == "number":
        unit = measures.unit_named(column.unit) if column and column.unit else measures.UNITS[field.unit]
        sign = "point" if profile.decimal == "." else "comma"
        also = (
            ", or a text with its unit such as 5 ft 9 in or 71.5 kg"
            if column and column.written_units
            else ""
        )
        return f"a number of {measures.UNIT_WORDS[unit.code]} written with a {sign} ({unit.code}){also}"
    if field.kind == "moment":
        given = column.format if column and column.format else "%Y-%m-%d"
        return f"a date written as {given if isinstance(given, str) else ' or '.join(given)}"
    if field.kind in ("sex", "yes_no"):
        words = (
            column.codes
            if column and column.codes
            else (
                {"female": "", "male": "", "f": "", "m": ""} if field.kind == "sex" else {"yes": "", "no": ""}
            )
        )
        return f"one of {', '.join(words)}"
    if field.kind == "identity":
        return (
            "a participant's number of at most 200 characters, none of them a control or invisible character"
        )
    return f"a {field.title.lower()} of at most 80 characters, none of them a control or invisible character"
