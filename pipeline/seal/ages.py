"""An age at a day, of a date of birth: completed years, or completed months for children.

A year is completed on the birthday, a month on its day of birth; where a month has no such day, on the first of the
next. So who is born on 29 February is a year older on 1 March of other years (laws differ on this day; project's
choice). From the 20th birthday on an age in months is a whole number of years: more would tell the month of birth, and
only the children's growth reference asks for it.
"""

from __future__ import annotations

from datetime import date

ADULT_FROM = 20  # programme.ADULT_FROM, where children's bandings end


def age_in_years(born: date, day: date) -> int:
    """Completed years. Negative for a day before the birth."""
    return day.year - born.year - ((day.month, day.day) < (born.month, born.day))


def age_in_months(born: date, day: date) -> int:
    """Completed months up to the 20th birthday, twelve times the completed years after it."""
    years = age_in_years(born, day)
    if years >= ADULT_FROM:
        return 12 * years
    return 12 * (day.year - born.year) + day.month - born.month - (day.day < born.day)


def born_before(born: date, day: date, *, is_short_year: bool) -> date:
    """A year of two digits that would lie after the day is meant a century earlier: 31 in 2025 is 1931."""
    if is_short_year and born > day:
        return _century_earlier(born)
    return born


def _century_earlier(born: date) -> date:
    if (born.month, born.day) == (2, 29) and born.year % 400 == 0:
        return date(
            born.year - 100, 2, 28
        )  # 1900 had no 29 February: such a text is a slip, and a day off at most
    return born.replace(year=born.year - 100)
