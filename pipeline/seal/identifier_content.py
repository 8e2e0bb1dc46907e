"""What kind of direct identifier the values of one column are, told by their shape.

One e-mail address is enough, since an address is never a measurement; telephone numbers or dates of birth need a clear
majority. Precision first: a clean file that is refused costs a site its quarter. The bounds are the project's choice;
tests/benchmarks/results/identifier_detection.md says what they find and what they raise without cause.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date

from pipeline.seal.addresses import holds_address
from pipeline.seal.identifier_headers import ADDRESS, BIRTH, TELEPHONE

CLEAR_MAJORITY = 0.6
_TELEPHONE = re.compile(r"(?:\+|00|\(?0)[\d ()./-]{7,20}")
_DATE = re.compile(
    r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?|(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})(?:[T ].*)?"
)
_DECIMAL = re.compile(r"0[.,]\d+")  # 0.123456789 has the digits of a telephone number
_SHORTEST = 8  # characters of a date or, but for an address, of anything that is looked for: 1/2/1990
_FEWEST_VALUES = 3  # of a column, to judge it by its telephone numbers or dates
_MOST_DATES = 0.8
_BIRTH_YEARS = (5, 99)  # before the day of the run
_FEWEST_BIRTH_YEARS = 3  # measurement dates of one file lie in one or two
_LONG = 20  # values: so many in the order of time are a log of something, not people's birthdays


def kind_of_content(
    values: Sequence[str], *, as_of: date, is_participant: bool = False, is_measured_on: bool = False
) -> str | None:
    """What kind of direct identifier a column's values are, or None.

    A participant's number may begin with zeros and is no telephone number for that; a column of measurement dates is
    no column of birthdays, however old the file.
    """
    if max(map(len, values), default=0) < _SHORTEST and "@" not in "".join(values):
        return None  # nearly every column is of short numbers, and this is most of what a small file costs
    if any(map(holds_address, values)):
        return ADDRESS
    if len(values) < _FEWEST_VALUES:
        return None
    if (
        len(set(values)) > len(values) / 2
        and _share(values, lambda value: _is_telephone(value, is_participant)) >= CLEAR_MAJORITY
    ):
        return TELEPHONE
    if not is_measured_on and _are_birthdays(values, as_of):
        return BIRTH
    return None


def _are_birthdays(values: Sequence[str], as_of: date) -> bool:
    years = [year for year in map(_year_of, values) if year is not None]
    if len(years) >= _LONG and years in (sorted(years), sorted(years, reverse=True)):
        return False
    likely = [year for year in years if _BIRTH_YEARS[0] <= as_of.year - year <= _BIRTH_YEARS[1]]
    return len(likely) >= _MOST_DATES * len(values) and len(set(likely)) >= _FEWEST_BIRTH_YEARS


def _is_telephone(value: str, is_participant: bool) -> bool:
    if not _TELEPHONE.fullmatch(value) or not 9 <= sum(map(str.isdigit, value)) <= 15:
        return False
    if _DATE.fullmatch(value) or _DECIMAL.fullmatch(value):
        return False
    return not is_participant or value.startswith("+") or " " in value


def _year_of(value: str) -> int | None:
    match = _DATE.fullmatch(value)
    if not match:
        return None
    year, a, b = (int(part) for part in (match.group(1, 2, 3) if match.group(1) else match.group(6, 4, 5)))
    return year if min(a, b) >= 1 and max(a, b) <= 31 and min(a, b) <= 12 else None


def _share(values: Sequence[str], holds: Callable[[str], bool]) -> float:
    return sum(map(holds, values)) / len(values)
