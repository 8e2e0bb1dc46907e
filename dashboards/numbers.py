"""How a figure is written for a reader: rounding, decimal mark, thousands, per cent, periods, age groups.

Figures travel to the pages as whole steps of what is shown (tenths of a per cent; a measure's print steps), so
that Python and the page's own script write exactly the same digits.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import asdict, dataclass
from functools import lru_cache

from dashboards.wording import say

PERCENT_DECIMALS = 1


@dataclass(frozen=True, eq=False)  # one set of marks is itself alone: quick to look up
class Marks:
    """How numbers are written. `range` stands between the ends of an interval."""

    decimal: str = "."
    thousands: str = "\u202f"  # narrow no-break space: reads the same in every country
    minus: str = "\u2212"
    range: str = " to "

    def as_json(self) -> dict[str, str]:
        return asdict(self)


_marks: ContextVar[Marks] = ContextVar("marks", default=Marks())  # noqa: B039 (it is frozen)


def marks() -> Marks:
    """The marks of the pages that are being made."""
    return _marks.get()


@contextmanager
def writing_as(written_as: Mapping[str, str]) -> Iterator[None]:
    """Within the block numbers are written as a release says: its `written`, of release.json."""
    token = _marks.set(Marks(decimal=written_as["decimal"], thousands=written_as["thousands"],
                             range=say("range", low="", high="")))  # fmt: skip
    try:
        yield
    finally:
        _marks.reset(token)


def steps(value: float | None, decimals: int) -> int | None:
    """`value` in whole steps of its last shown decimal, halves up; None and NaN stay None."""
    if value is None or value != value:
        return None
    return math.floor(value * 10**decimals + 0.5)


def written(whole_steps: int, decimals: int) -> str:
    """1234567 steps of 0.1 → "123 456.7"."""
    return _written(marks(), whole_steps, decimals)


@lru_cache(maxsize=50_000)  # the same shares and counts stand in a hundred thousand places
def _written(signs: Marks, whole_steps: int, decimals: int) -> str:
    whole, part = divmod(abs(whole_steps), 10**decimals)
    text = str(whole) if whole < 1000 else f"{whole:,}".replace(",", signs.thousands)
    if decimals:
        text += f"{signs.decimal}{part:0{decimals}}"
    return signs.minus + text if whole_steps < 0 else text


def count(n: int) -> str:
    return written(n, 0)


def percent(whole_steps: int, decimals: int = PERCENT_DECIMALS) -> str:
    """241 tenths of a per cent → "24.1 %", the sign held to its number."""
    return written(whole_steps, decimals) + "\u00a0%"


def period_title(period: str) -> str:
    """2025Q3 → "Q3 2025"; 2025-07 stays as ISO 8601 writes it."""
    quarter = re.fullmatch(r"(\d{4})Q([1-4])", period)
    return f"Q{quarter.group(2)} {quarter.group(1)}" if quarter else period


def period_number(period: str) -> int:
    """Consecutive numbers for consecutive quarters, 2025Q3, or months, 2025-07."""
    a_year = 4 if "Q" in period else 12
    return int(period[:4]) * a_year + int(period[5:]) - 1


def period_numbered(number: int, like: str) -> str:
    """The period of a number, a quarter or a month as another one is."""
    if "Q" in like:
        return f"{number // 4}Q{number % 4 + 1}"
    return f"{number // 12}-{number % 12 + 1:02}"


def age_title(age_from: int, age_to: int) -> str:
    return f"{age_from}–{age_to}" if age_from != age_to else str(age_from)
