"""Late and silent sites: the bounds in pairs, a day before and a day after."""

from datetime import date, timedelta

import pytest

from pipeline.arrivals import LONGEST_GAP, arrival

LAST = date(2025, 1, 31)


@pytest.mark.parametrize("expected", LONGEST_GAP)
def test_a_site_is_late_after_one_stretch_and_silent_after_two(expected):
    days = LONGEST_GAP[expected]
    states = [arrival(expected, LAST, LAST + timedelta(n)) for n in (0, days, days + 1, 2 * days, 2 * days + 1)]
    assert states == ["on_time", "on_time", "late", "late", "silent"]


def test_a_site_without_readings_and_one_of_which_none_are_expected():
    assert arrival("weekly", None, LAST) == "nothing_yet"
    assert arrival(None, LAST, LAST + timedelta(999)) is None


def test_a_reading_after_the_day_of_the_run_is_on_time():
    assert arrival("weekly", LAST, LAST - timedelta(1)) == "on_time"
