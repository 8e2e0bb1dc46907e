"""What of a cell may stand in a sealed file: numbers, dates, codes and an analyser's name. Everything else is emptied.

A remark typed into the weight column, or a telephone number in that of age, so never leaves the site.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

from pipeline import measures
from pipeline.seal import moments
from pipeline.seal.profile import TYPED_FORMATS, SealProfile
from pipeline.seal.pseudonym import BLANKS

_LONGEST_TEXT = 80
_LONGEST_PARTICIPANT = 200
_NUMBER = re.compile(r"[+-]?(?:\d{1,6}|\d{1,3}(?:[.,'\u00a0\u202f ]\d{3}){1,2})?(?:[.,]\d{1,17})? ?%?")
_AMOUNT = r"\d{1,4}(?:[.,]\d{1,4})?"
_UNIT = (
    r"(?:kgs?|kilos?|kilogram(?:me)?s?|g|gram(?:me)?s?|lbs?|pounds?|st|stones?|cms?|centimet(?:re|er)s?|mm?|"
    r"millimet(?:re|er)s?|met(?:re|er)s?|ft|feet|foot|in|inch(?:es)?|['’′\"”″]{1,2})"
)
_WRITTEN = re.compile(
    rf"{_AMOUNT} ?{_UNIT}\.?(?: ?(?:and|&))?(?: ?{_AMOUNT}(?: ?{_UNIT})?\.?)?", re.IGNORECASE
)
_INVISIBLE = frozenset(  # beside control, format and separator characters: as in the macro received_participant
    "\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180e\u180f\u3164\uffa0"
    + "".join(map(chr, (*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0))))
)
_INVISIBLE_KINDS = ("Cc", "Cf", "Zl", "Zp")


def passed(profile: SealProfile, field: str, text: str) -> str | None:
    """The cell as the sealed file holds it, "" where nothing was measured, None where it may not pass.

    The participant's number is only trimmed here: its pseudonym is made by the caller.
    """
    text = text.strip(BLANKS)
    if text in profile.missing:
        return ""
    kind, column = measures.FIELDS[field].kind, profile.columns.get(field, {})
    if kind == "identity":
        return None if len(text) > _LONGEST_PARTICIPANT or _is_invisible_in(text) else text
    if kind == "moment":
        return _iso(profile, column, text)
    if kind in ("sex", "yes_no"):
        return text if text.lower() in _words(kind, column) else None
    if kind == "text":
        return None if len(text) > _LONGEST_TEXT or _is_invisible_in(text) else text
    is_number = any(char.isdigit() for char in text) and _NUMBER.fullmatch(text)
    return text if is_number or (column.get("written_units") and _WRITTEN.fullmatch(text)) else None


def _is_invisible_in(text: str) -> bool:
    """Is there a character in it that nobody sees?"""
    return any(char in _INVISIBLE or unicodedata.category(char) in _INVISIBLE_KINDS for char in text)


def _iso(profile: SealProfile, column: Mapping[str, Any], text: str) -> str | None:
    formats = moments.formats_of(column.get("format"))
    moment = moments.moment_of(text, formats, profile.format in TYPED_FORMATS)
    return moments.iso_of(moment, has_time=moments.has_time(text, formats)) if moment else None


def _words(kind: str, column: Mapping[str, Any]) -> set[str]:
    usual = measures.SEX_WORDS if kind == "sex" else measures.YES_NO_WORDS
    return {str(word).strip().lower() for word in (*usual, *column.get("codes", {}))}
