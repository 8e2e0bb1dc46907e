"""The standard population of the settings: those beside the code, a programme's own file, and what is refused."""

from pathlib import Path

import pytest

from pipeline.faults import SettingsFault
from pipeline.programme import Programme, ProgrammeSettings
from pipeline.results.standard import read_standard

SITE = {"id": "north-quay", "name": "A site", "profile": "p.toml"}
TEN_YEARS_FROM_15 = {"groups": [(a, a + 9) for a in range(25, 85, 10)] + [(85, 99)], "totals": [(25, 99)]}


def programme(folder: Path, standard: str | None = None, **settings) -> Programme:
    bandings = {} if standard is None else {"standard_population": standard}
    made = ProgrammeSettings(name="Test", site=[SITE], bandings=bandings, **settings)
    return Programme(folder / "programme.toml", made, {}, "c0ffee")


@pytest.mark.parametrize(("name", "rows", "first"), [("who-world", 21, 8.86), ("esp-2013", 21, 1000.0)])
def test_a_published_standard_is_read_and_fits_the_usual_age_groups(tmp_path, name, rows, first):
    standard = read_standard(programme(tmp_path, name))
    assert (standard.name, standard.bands.height, standard.bands["weight"][0]) == (name, rows, first)
    assert (20, 99) in standard.totals and (5, 19) in standard.totals


def test_a_chosen_standard_that_would_be_split_says_what_to_do(tmp_path):
    with pytest.raises(SettingsFault) as fault:
        read_standard(programme(tmp_path, "us-2000"))
    assert "us-2000" in fault.value.found and "15-24" in fault.value.found
    assert (
        "[ages]" in fault.value.next and fault.value.where == "programme.toml, [bandings] standard_population"
    )


def test_the_same_standard_fits_age_groups_made_for_it(tmp_path):
    standard = read_standard(programme(tmp_path, "us-2000", ages=TEN_YEARS_FROM_15))
    assert standard.totals == ((25, 99),)


def test_where_nobody_chose_one_totals_that_do_not_fit_are_left_out(tmp_path):
    ages = {"groups": [(5, 11), (12, 19), (20, 39), (40, 99)], "totals": [(5, 19), (20, 99)]}
    assert read_standard(programme(tmp_path, ages=ages)).totals == ((20, 99),)
    with pytest.raises(SettingsFault):
        read_standard(programme(tmp_path, "who-world", ages=ages))


def test_a_name_that_is_none_of_them_offers_the_nearest(tmp_path):
    with pytest.raises(SettingsFault) as fault:
        read_standard(programme(tmp_path, "esp-2012"))
    assert "did you mean esp-2013?" in fault.value.found
    assert "who-world, esp-2013, us-2000" in fault.value.expected


def test_a_file_beside_the_settings_is_read(tmp_path):
    bands = "".join(f"{a}-{a + 4}, {100 - a}\n" for a in range(5, 95, 5))
    (tmp_path / "district.csv").write_text(f"age_band,weight\n{bands}95+,1\n")
    standard = read_standard(programme(tmp_path, "district.csv"))
    assert (standard.name, standard.bands.height, standard.bands["weight"][0]) == ("district.csv", 19, 95.0)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (None, "no such file"),
        ("band,weight\n20-99,1\n", "no column age_band"),
        ("age_band,weight\n20-99,1\nolder,2\n", "line 3"),
        ("age_band,weight\n20-99,-1\n", "line 2"),
        ("age_band,weight\n20-99,many\n", "line 2"),
        ("age_band,weight\n20-99,\n", "line 2"),
    ],
)
def test_a_file_that_cannot_be_read_says_where(tmp_path, text, found):
    if text is not None:
        (tmp_path / "district.csv").write_text(text)
    with pytest.raises(SettingsFault) as fault:
        read_standard(programme(tmp_path, "district.csv"))
    assert found in fault.value.found and fault.value.where == "district.csv"
    assert "age_band" in fault.value.expected


def test_a_group_that_is_a_total_too_is_counted_once(tmp_path):
    ages = programme(tmp_path, ages={"groups": [(5, 19), (20, 99)]}).settings.ages
    assert set(ages.totals) >= {(5, 19), (20, 99)}
    assert ages.all == [(5, 19), (20, 99), (5, 99)]
