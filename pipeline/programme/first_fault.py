"""The first of pydantic's faults in this program's words: file, key, what was found, what may stand there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from pipeline.faults import SettingsFault, nearest, printable
from pipeline.programme.section import Section


def first_fault(path: Path, model: type[Section], error: ValidationError) -> SettingsFault:
    """One clear fault out of pydantic's list: the first, in the words of this program."""
    fault = error.errors(include_url=False)[0]
    place = fault["loc"]
    key = ".".join(str(part) for part in place) or "the file as a whole"
    found = "" if fault["type"] in ("missing", "value_error") else repr(fault.get("input"))
    if fault["type"] == "extra_forbidden":
        expected = f"a known key{nearest(str(place[-1]), _keys_at(model, place[:-1]))}"
        found = str(place[-1])
    elif fault["type"] == "missing":
        expected = f"the key {place[-1]}, which is required"
    elif fault["type"] == "string_too_short" and place[-1] == "header":
        expected = "the header of a column; a proposal leaves it open where no header names the field"
    else:
        expected = _in_our_words(fault)
    return SettingsFault(
        "bad settings",
        where=f"{path}, {key}",
        found=printable(found),
        expected=expected,
        next="correct the file and run again; nothing was changed",
    )


# pydantic's kind of fault → what was expected, in this program's words
_EXPECTED = {
    "literal_error": "one of {expected}",
    "string_type": "a text in quotes",
    "string_too_short": "a text that is not empty",
    "string_too_long": "a text of at most {max_length} characters",
    "string_pattern_mismatch": "a text of the form {pattern}",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
    "less_than": "less than {lt}",
    "date_type": "a day without quotes, such as 2024-10-01",
    "date_parsing": "a day without quotes, such as 2024-10-01",
    "date_from_datetime_parsing": "a day without quotes, such as 2024-10-01",
    "date_from_datetime_inexact": "a day without a time, such as 2024-10-01",
    "too_short": "at least {min_length}",
    "too_long": "at most {max_length}",
    "tuple_type": "a list in square brackets",
    "dict_type": 'a table such as {{ header = "Weight" }}',
    "model_type": 'a table such as {{ header = "Weight" }}',
}


def _in_our_words(fault: Any) -> str:
    said = _EXPECTED.get(fault["type"])
    return said.format(**fault.get("ctx", {})) if said else fault["msg"].removeprefix("Value error, ")


def _keys_at(model: Any, loc: tuple[Any, ...]) -> list[str]:
    """The keys allowed at a place of the settings, found by walking the models' annotations."""
    for part in loc:
        if isinstance(part, int) or not hasattr(model, "model_fields") or part not in model.model_fields:
            continue
        model = _model_in(model.model_fields[part].annotation) or model
    return list(getattr(model, "model_fields", {}))


def _model_in(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found:
            return found
    return None
