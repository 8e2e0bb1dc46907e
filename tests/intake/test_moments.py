"""Dates: only what the profile's formats say, and never a guess between two of them."""

import pytest
from invented_site import PROFILE, csv

from pipeline.seal import moments


def read(house, text, form=None):
    if form is not None:
        house.profile(PROFILE.replace('"Date"', f'"Date", format = {form}'))
    house.put("a.csv", csv(f'm1,"{text}",F,35,165.0,65.0'))
    house.receive()
    return house.store.value("select measured_at::varchar from normalised")


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2025-02-03", "2025-02-03 00:00:00"),
        (" 2025-02-03 ", "2025-02-03 00:00:00"),
        ("2025-02-03T14:30", "2025-02-03 14:30:00"),
        ("2025-02-03 14:30:15", "2025-02-03 14:30:15"),
        ("2025-02-03T23:30:00Z", "2025-02-03 23:30:00"),
        ("2025-02-03T23:30:00+02:00", "2025-02-03 23:30:00"),
        ("2025-2-3", None),
        ("2025-02-30", None),
        ("20250203", None),
        ("03/02/2025", None),
        ("25-02-03", None),
        ("2025-02-03 25:00", None),
        ("infinity", None),
        ("1025-02-03", None),
    ],
)
def test_iso_8601_where_the_profile_names_no_format(house, text, moment):
    assert read(house, text) == moment


@pytest.mark.parametrize(
    ("form", "text", "moment"),
    [
        ('"%d/%m/%Y"', "03/02/2025", "2025-02-03 00:00:00"),
        ('"%d/%m/%Y"', "3/2/2025", "2025-02-03 00:00:00"),
        ('"%d/%m/%Y"', "13/02/2025", "2025-02-13 00:00:00"),
        ('"%m/%d/%Y"', "13/02/2025", None),
        ('"%d/%m/%Y"', "03/02/25", None),
        ('"%d/%m/%y"', "03/02/25", "2025-02-03 00:00:00"),
        ('"%d/%m/%Y"', "2025-02-03", None),
        ('"%d/%m/%Y"', "03/02/2025 14:30", None),
        ('"%d.%m.%Y %H:%M"', "03.02.2025 14:30", "2025-02-03 14:30:00"),
        ('"%d %b %Y"', "3 Feb 2025", "2025-02-03 00:00:00"),
        ('"%m/%d/%Y %I:%M %p"', "02/03/2025 2:30 PM", "2025-02-03 14:30:00"),
    ],
)
def test_the_profiles_format_and_no_other(house, form, text, moment):
    assert read(house, text, form) == moment


# The clock at the site, as where no format is named, and wherever this machine stands; sealing reads the same
@pytest.mark.parametrize(
    ("form", "text", "moment"),
    [
        ("%Y-%m-%dT%H:%M:%S%z", "2025-03-31T23:45:00-05:00", "2025-03-31 23:45:00"),
        ("%Y-%m-%dT%H:%M:%S%z", "2025-04-01T00:15:00+0200", "2025-04-01 00:15:00"),
        ("%Y-%m-%dT%H:%M:%S%z", "2025-03-31T23:45:00Z", "2025-03-31 23:45:00"),
        ("%d/%m/%Y %H:%M %z", "31/03/2025 23:45 -05", "2025-03-31 23:45:00"),
        ("%a %b %d %H:%M:%S %z %Y", "Mon Mar 31 23:45:00 -0500 2025", "2025-03-31 23:45:00"),
        ("%d-%m-%Y %H:%M%z", "31-03-2025 23:45", None),  # the format says that there is a zone
        ("%H:%M %d-%m-%Y %z", "23:45 31-03-2025", None),  # -2025 is no zone
    ],
)
def test_a_zone_does_not_move_the_clock_of_the_site(house, monkeypatch, form, text, moment):
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    found = read(house, text, f'"{form}"')
    assert found == moment
    sealed = moments.moment_of(text, (form,), is_iso_allowed=False)
    assert (sealed and str(sealed)) == moment


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("13/02/2025", "2025-02-13 00:00:00"),  # only day first can be meant
        ("02/13/2025", "2025-02-13 00:00:00"),  # only month first
        ("03/03/2025", "2025-03-03 00:00:00"),  # both mean the same day
        ("03/02/2025", None),  # two different days: not read
    ],
)
def test_two_formats_that_disagree_are_not_guessed_between(house, text, moment):
    assert read(house, text, '["%d/%m/%Y", "%m/%d/%Y"]') == moment


def test_a_day_has_its_quarter_at_both_ends(house):
    house.put(
        "a.csv",
        csv(
            *[
                f"m{n},{day},F,35,165.0,65.0"
                for n, day in enumerate(["2025-03-31", "2025-04-01", "2024-12-31 23:59", "2025-01-01"])
            ]
        ),
    )
    house.receive()
    assert house.accepted("period") == ["2025Q1", "2025Q2", "2024Q4", "2025Q1"]


def test_a_programme_by_month(house):
    settings = house.folder / "programme.toml"
    settings.write_text('period = "month"\n' + settings.read_text())
    house.put("a.csv", csv("m1,2025-03-31,F,35,165.0,65.0", "m1,2025-04-01,F,35,165.0,65.0"))
    house.receive()
    assert house.accepted("period") == ["2025-03", "2025-04"]
