"""One line of NDJSON: its pairs, and a value as text.

A number keeps its digits as written and takes the profile's decimal sign; true and false become those words; null
is missing.
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

Pairs = list[tuple[str, Any]]


class _Number(str):
    """The digits of a JSON number."""


_decoder = json.JSONDecoder(
    object_pairs_hook=list, parse_float=_Number, parse_int=_Number, parse_constant=str
)


def text_of_value(value: Any, decimal: str) -> str | None:
    """A JSON value as the profile's file would have written it."""
    if value is None or type(value) is str:
        return value
    if type(value) is _Number:
        plain = format(Decimal(value), "f") if "e" in value or "E" in value else str(value)
        return plain if decimal == "." else plain.replace(".", decimal)
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, ensure_ascii=False)


def pairs_of(content: str) -> Pairs | None:
    """The pairs of a line's object; None where it is none."""
    stripped = content.removeprefix("\ufeff").strip()
    if not stripped.startswith("{"):
        return None
    try:
        return _decoder.decode(stripped)
    except (json.JSONDecodeError, RecursionError):
        return None
