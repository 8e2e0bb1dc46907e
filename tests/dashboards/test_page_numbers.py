"""How figures are written: mechanics."""

from __future__ import annotations

import pytest

from dashboards.numbers import age_title, count, percent, period_title, steps, writing_as, written
from dashboards.wording import unit_word

THIN = "\u202f"


@pytest.mark.parametrize(("value", "decimals", "expected"), [
    (0.2449999, 1, 2), (0.25, 1, 3), (0.0, 1, 0), (-0.25, 1, -2), (72.4, 1, 724),
    (None, 1, None), (float("nan"), 1, None),
])  # fmt: skip
def test_steps_round_halves_up_and_keep_what_is_missing(value, decimals, expected):
    assert steps(value, decimals) == expected


@pytest.mark.parametrize(("whole", "decimals", "expected"), [
    (0, 1, "0.0"), (5, 1, "0.5"), (5, 3, "0.005"), (724, 1, "72.4"), (-5, 2, "\u22120.05"),
    (999, 0, "999"), (1000, 0, f"1{THIN}000"), (1234567, 1, f"123{THIN}456.7"), (1234567, 0, f"1{THIN}234{THIN}567"),
])  # fmt: skip
def test_numbers_are_written_with_a_point_and_thin_thousands(whole, decimals, expected):
    assert written(whole, decimals) == expected


def test_a_per_cent_sign_stays_with_its_number():
    assert percent(241) == "24.1\u00a0%"
    assert count(1000) == f"1{THIN}000"


@pytest.mark.parametrize(
    ("period", "title"), [("2025Q3", "Q3 2025"), ("2025-07", "2025-07"), ("2025Q5", "2025Q5")]
)
def test_a_quarter_is_turned_round_and_a_month_stays(period, title):
    assert period_title(period) == title


def test_ages_and_units_are_in_the_reader_s_spelling():
    assert age_title(20, 29) == "20–29"
    assert age_title(20, 20) == "20"
    assert [unit_word(code) for code in ("kg/m2", "%", "1")] == ["kg/m²", "%", ""]


def test_a_release_says_how_its_numbers_are_written_and_only_while_its_pages_are_made():
    with writing_as({"decimal": ",", "thousands": "\u202f"}):
        assert (percent(241), written(12345, 1)) == ("24,1\u00a0%", f"1{THIN}234,5")
    assert percent(241) == "24.1\u00a0%"
