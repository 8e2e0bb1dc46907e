"""A day, or a day and time, as a profile's format writes it; and as ISO 8601, which is what a sealed file holds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache

_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,9})?)?(?:Z|[+-]\d{2}(?::?\d{2})?)?)?"
)
_ZONE = re.compile(r"(?:Z|[+-]\d{2}(?::?\d{2})?)$")
_HOUR_ZONE = re.compile(r"(:\d{2}(?:\.\d+)?\s*[+-]\d{2})$")
_YEARS = (1900, 2199)


def formats_of(given: str | Sequence[str] | None) -> tuple[str, ...]:
    """The strptime formats of a profile. Python's strptime reads %d with and without its zero: %-d is the same."""
    formats = (given,) if isinstance(given, str) else tuple(given or ())
    return tuple(form.replace("%-", "%") for form in formats)


@lru_cache(maxsize=65_536)
def moment_of(text: str, formats: tuple[str, ...], is_iso_allowed: bool) -> datetime | None:
    """The moment, or None where the text is none, or where two formats read it differently.

    A zone is not applied: the clock at the site is what the file says.
    """
    found = {moment for form in formats if (moment := _parsed(text.strip(), form))}
    if is_iso_allowed or not formats:
        found |= {moment} if (moment := _iso(text.strip())) else set()
    return found.pop() if len(found) == 1 else None


def iso_of(moment: datetime, *, has_time: bool) -> str:
    return moment.strftime("%Y-%m-%d %H:%M:%S") if has_time else moment.strftime("%Y-%m-%d")


def has_time(text: str, formats: tuple[str, ...]) -> bool:
    """Does the text tell a time of day? By its colon, and by the formats where there are any."""
    return ":" in text or any("%H" in form or "%I" in form for form in formats if _parsed(text.strip(), form))


def _parsed(text: str, form: str) -> datetime | None:
    if form.endswith("%z"):
        text = _HOUR_ZONE.sub(r"\1:00", text)  # strptime wants the minutes of a zone, ISO 8601 does not
    try:
        found = datetime.strptime(text, form).replace(tzinfo=None)
    except (ValueError, re.error, OverflowError):  # a format that names a part twice is no pattern
        return None
    return found if _YEARS[0] <= found.year <= _YEARS[1] else None


def _iso(text: str) -> datetime | None:
    if not _ISO.fullmatch(text):
        return None
    without_zone = _ZONE.sub("", text) if len(text) > len("2025-02-03") else text
    try:
        found = datetime.fromisoformat(without_zone)
    except ValueError:
        return None
    return found if _YEARS[0] <= found.year <= _YEARS[1] else None
