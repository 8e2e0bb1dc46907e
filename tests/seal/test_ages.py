"""Ages at measurement: on the day before a birthday and on it, at 29 February, at the ends of months."""

from __future__ import annotations

import random
from datetime import date, timedelta

import duckdb
import pytest

from pipeline import programme
from pipeline.seal import ages
from pipeline.seal.ages import age_in_months, age_in_years, born_before


@pytest.mark.parametrize(
    ("born", "day", "years"),
    [
        (date(1984, 5, 4), date(2025, 5, 3), 40),
        (date(1984, 5, 4), date(2025, 5, 4), 41),
        (date(1984, 2, 29), date(2025, 2, 28), 40),
        (date(1984, 2, 29), date(2025, 3, 1), 41),
        (date(1984, 2, 29), date(2024, 2, 28), 39),
        (date(1984, 2, 29), date(2024, 2, 29), 40),
        (date(1984, 3, 1), date(2024, 2, 29), 39),
        (date(1999, 12, 31), date(2000, 1, 1), 0),
        (date(2025, 2, 3), date(2025, 2, 3), 0),
        (date(2025, 2, 4), date(2025, 2, 3), -1),
    ],
)
def test_a_year_is_completed_on_the_birthday(born, day, years):
    assert age_in_years(born, day) == years


@pytest.mark.parametrize(
    ("born", "day", "months"),
    [
        (date(2012, 5, 4), date(2025, 2, 3), 152),
        (date(2012, 5, 4), date(2025, 2, 4), 153),
        (date(2012, 1, 31), date(2012, 2, 29), 0),
        (date(2012, 1, 31), date(2012, 3, 1), 1),
        (date(2005, 2, 4), date(2025, 2, 3), 239),
        (date(2005, 2, 4), date(2025, 2, 4), 240),
        (date(2005, 2, 4), date(2025, 12, 31), 240),  # adults: a whole number of years
        (date(2005, 2, 4), date(2026, 2, 4), 252),
    ],
)
def test_months_are_told_up_to_the_20th_birthday(born, day, months):
    assert age_in_months(born, day) == months


def test_children_end_where_the_bandings_say():
    assert ages.ADULT_FROM == programme.ADULT_FROM


# DuckDB 2.0.1, date_sub('year' | 'month', born, day): "the number of complete partitions between the dates"; and
# days up to the 28th, on which all conventions agree.
def test_ages_agree_with_an_independent_implementation():
    chance = random.Random(4)
    pairs = []
    for _ in range(5000):
        born = (date(1930, 1, 1) + timedelta(days=chance.randrange(33_000))).replace(
            day=chance.randint(1, 28)
        )
        pairs.append((born, born + timedelta(days=chance.randrange(7300))))
    found = duckdb.execute(
        "select date_sub('year', born, day), date_sub('month', born, day) "
        "from (select unnest($born) as born, unnest($day) as day)",
        {"born": [born for born, _ in pairs], "day": [day for _, day in pairs]},
    ).fetchall()
    assert [years for years, _ in found] == [age_in_years(*pair) for pair in pairs]
    children = [n for n, pair in enumerate(pairs) if age_in_years(*pair) < 20]
    assert len(children) > 4000
    assert [found[n][1] for n in children] == [age_in_months(*pairs[n]) for n in children]


def test_a_birth_year_of_two_digits_is_the_last_that_can_be():
    day = date(2025, 2, 3)
    assert born_before(date(2031, 5, 4), day, is_short_year=True) == date(1931, 5, 4)
    assert born_before(date(2012, 5, 4), day, is_short_year=True) == date(2012, 5, 4)
    assert born_before(date(2031, 5, 4), day, is_short_year=False) == date(2031, 5, 4)
    assert born_before(date(2000, 2, 29), date(1999, 1, 1), is_short_year=True) == date(1900, 2, 28)
