"""Calendar quarters and months, written 2025Q3 and 2025-07. Written so, they sort in the order of time."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, timedelta

_QUARTER, _MONTH = re.compile(r"(\d{4})Q([1-4])"), re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
FORMS = {"quarter": "2025Q3", "month": "2025-07"}


def period_of(day: date, kind: str) -> str:
    """The quarter or month that a day lies in; the macro `period_of` is the same in SQL."""
    return f"{day.year}Q{(day.month + 2) // 3}" if kind == "quarter" else f"{day:%Y-%m}"


def kind_of(text: str) -> str | None:
    """quarter, month, or None for a text that is neither."""
    return "quarter" if _QUARTER.fullmatch(text) else "month" if _MONTH.fullmatch(text) else None


def last_day(period: str) -> date:
    """Errors   ValueError for a text that is no period."""
    if quarter := _QUARTER.fullmatch(period):
        year, month = int(quarter[1]), 3 * int(quarter[2])
    elif found := _MONTH.fullmatch(period):
        year, month = int(found[1]), int(found[2])
    else:
        raise ValueError(f"{period} is no period")
    return date(year, month, monthrange(year, month)[1])


def day_before(day: date, length: str) -> date:
    """The day that lies `length` ("18 months", "90 days", "5 years") before a day.

    A day that its month does not have is the month's last: 3 months before 31 May is 28 or 29 February.
    Errors   ValueError for a length that is none, or that reaches beyond the calendar.
    """
    number, _, unit = length.partition(" ")
    if unit in ("day", "days"):
        try:
            return day - timedelta(days=int(number))
        except OverflowError:
            return date.min
    months = int(number) * {"month": 1, "months": 1, "year": 12, "years": 12}[unit]
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    if year < 1:
        return date.min
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
