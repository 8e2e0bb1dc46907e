"""One line of NDJSON: its pairs, and a value as text.

A number keeps its digits as written and takes the profile's decimal sign; true and false become those words; null
is missing.
"""

from __future__ import annotations

import json
import re
from decimal import Decimal
from typing import Any

Pairs = list[tuple[str, Any]]


_SHORT_EXPONENT = re.compile(r"-?[0-9]{1,40}(?:\.[0-9]{1,40})?[eE][+-]?[0-9]{1,2}")
_HALF = re.compile(r"\\u[dD][89a-fA-F]")


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
        # Out of all measure it stays as written, which no number is read from: 1e999999 written out is a megabyte.
        is_short = _SHORT_EXPONENT.fullmatch(value)
        plain = format(Decimal(value), "f") if is_short else str(value)
        return plain if decimal == "." else plain.replace(".", decimal)
    if isinstance(value, bool):
        return "true" if value else "false"
    try:
        return json.dumps(value, ensure_ascii=False)
    except RecursionError:
        return "(nested too deeply)"


def pairs_of(content: str) -> Pairs | None:
    """The pairs of a line's object; None where it is none."""
    stripped = content.removeprefix("\ufeff").strip()
    if not stripped.startswith("{"):
        return None
    try:
        found = _decoder.decode(stripped)
        require_text(stripped, found)
        return found
    except (ValueError, RecursionError):
        return None


def require_text(content: str, value: Any) -> None:
    """JSON can escape half of a character that takes two, which no file and no store can hold as text.

    Errors   ValueError.
    """
    if _HALF.search(content):
        json.dumps(value, ensure_ascii=False).encode()
