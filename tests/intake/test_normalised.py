"""Received text → values: what is read, and what is not read rather than guessed."""

import pytest
from invented_site import HEADER, PROFILE, csv

from pipeline.intake.normalising import number_pattern


def number(macros, text, decimal=".", thousands=""):
    return macros.value(
        "select received_number($text, $pattern, $decimal, $thousands)",
        {
            "text": text,
            "pattern": number_pattern(decimal, thousands),
            "decimal": decimal,
            "thousands": thousands,
        },
    )


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("72.5", 72.5),
        ("72", 72.0),
        (" 72.5 ", 72.5),
        ("+72.5", 72.5),
        ("-1", -1.0),
        (".5", 0.5),
        ("007", 7.0),
        ("72,5", None),
        ("7 2", None),
        ("0x10", None),
        ("1e5", None),
        ("1E5", None),
        ("inf", None),
        ("nan", None),
        ("1_000", None),
        ("72.", None),
        ("72.5.1", None),
        ("72.5kg", None),
        ("", None),
        ("٧٢", None),
        ("--5", None),
        ("1,234.5", None),
    ],
)
def test_a_number_with_a_point(macros, text, value):
    assert number(macros, text) == value


@pytest.mark.parametrize(
    ("text", "decimal", "thousands", "value"),
    [
        ("72,5", ",", "", 72.5),
        ("72.5", ",", "", None),
        ("1.234,5", ",", ".", 1234.5),
        ("72.5", ",", ".", None),
        ("1.234", ",", ".", 1234.0),
        ("12.34", ",", ".", None),
        ("1,234.5", ".", ",", 1234.5),
        ("1,23", ".", ",", None),
        ("1234.5", ".", ",", 1234.5),
        ("1 234,5", ",", " ", 1234.5),
        ("1\u00a0234,5", ",", " ", 1234.5),
        ("1\u202f234", ",", " ", 1234.0),
        ("1'234.5", ".", "'", 1234.5),
        ("1,234,567.5", ".", ",", 1234567.5),
        ("1,2345", ".", ",", None),
        (",234", ".", ",", None),
    ],
)
def test_a_number_in_the_profiles_writing(macros, text, decimal, thousands, value):
    assert number(macros, text, decimal, thousands) == value


def test_a_value_in_the_canonical_unit_is_stored_exactly_as_its_text_parses(house):
    house.put("a.csv", csv("m1,2025-02-03,F,35,165.1,65.7"))
    house.receive()
    assert house.accepted("height_cm", "weight_kg") == [(165.1, 65.7)]


@pytest.mark.parametrize(
    ("unit", "text", "kilograms"),
    [
        ("kg", "65.7", 65.7),
        ("g", "65700", 65.7),
        ("lb", "144.8", 144.8 * 45359237 / 1e8),
        ("st", "10.5", 10.5 * 635029318 / 1e8),
        ("[lb_av]", "143", 143 * 45359237 / 1e8),
    ],
)
def test_units_by_their_exact_factor(house, unit, text, kilograms):
    house.profile(PROFILE.replace('"Wt"', f'"Wt", unit = "{unit}"'))
    house.put("a.csv", csv(f"m1,2025-02-03,F,35,165.1,{text}"))
    house.receive()
    assert house.accepted("weight_kg") == [kilograms]


def test_missing_marks_are_missing_and_other_text_is_unreadable(house):
    house.profile(PROFILE + 'body_fat_percent = { header = "Fat" }\ndevice = { header = "Dev" }\n')
    rows = [
        f"m{n},2025-02-03,F,35,165.0,65.0,{fat},{dev}"
        for n, (fat, dev) in enumerate([("n/a", "-"), ("22.5 %", "A 1"), ("high", "B"), ("", "")])
    ]
    house.put("a.csv", csv(*rows, header=HEADER + ",Fat,Dev"))
    house.receive()
    assert house.accepted("line", "body_fat_percent", "device") == [
        (2, None, None),
        (3, 22.5, "A 1"),
        (5, None, None),
    ]
    assert house.held() == [(4, ["unreadable:body_fat_percent"])]


def test_a_share_of_one_becomes_per_cent(house):
    house.profile(PROFILE + 'body_fat_percent = { header = "Fat", unit = "1" }\n')
    house.put("a.csv", csv("m1,2025-02-03,F,35,165.0,65.0,0.225", header=HEADER + ",Fat"))
    house.receive()
    assert house.accepted("body_fat_percent") == [22.5]


@pytest.mark.parametrize(
    ("age", "unit", "years", "months"),
    [
        ("35", "a", 35, None),
        ("35.9", "a", 35, None),
        ("5", "a", 5, None),
        ("119", "mo", 9, 119),
        ("120", "mo", 10, 120),
        ("121.7", "mo", 10, 121),
    ],
)
def test_ages_are_floored_and_months_kept(house, age, unit, years, months):
    house.profile(PROFILE.replace('"Age"', f'"Age", unit = "{unit}"'))
    house.put(
        "a.csv",
        csv(f"m1,2025-02-03,F,{age},135.0,32.0" if years < 20 else f"m1,2025-02-03,F,{age},165.0,65.0"),
    )
    house.receive()
    found = house.store.rows("select age, age_months from normalised")
    assert found == [(years, months)]


@pytest.mark.parametrize("age", ["99999999", "-3"])
def test_an_impossible_age_stays_impossible(house, age):
    house.put("a.csv", csv(f"m1,2025-02-03,F,{age},165.0,65.0"))
    house.receive()
    assert house.held() == [(2, ["out_of_range:age"])]


@pytest.mark.parametrize(
    ("word", "sex"),
    [
        ("F", "female"),
        ("f", "female"),
        ("Female", "female"),
        (" MALE ", "male"),
        ("m", "male"),
        ("1", None),
        ("0", None),
        ("2", None),
        ("W", None),
        ("x", None),
    ],
)
def test_without_codes_only_plain_words_are_a_sex(house, word, sex):
    house.put("a.csv", csv(f"m1,2025-02-03,{word},35,165.0,65.0"))
    house.receive()
    assert house.store.value("select sex from normalised") == sex
    assert (house.held() == [(2, ["unreadable:sex"])]) == (sex is None)


def test_codes_replace_the_words_and_letter_case_does_not_matter(house):
    house.profile(PROFILE.replace('"Sex"', '"Sex", codes = { Mujer = "female", M = "female", H = "male" }'))
    house.put(
        "a.csv",
        csv(*[f"m{n},2025-02-03,{word},35,165.0,65.0" for n, word in enumerate(["m", "h", "MUJER", "f"])]),
    )
    house.receive()
    assert house.accepted("sex") == ["female", "male", "female"]
    assert house.held() == [(5, ["unreadable:sex"])]


def test_yes_and_no_in_plain_words(house):
    house.profile(PROFILE + 'athlete_mode = { header = "Ath" }\n')
    words = ["yes", "NO", "1", "0", "true", "", "perhaps"]
    house.put(
        "a.csv",
        csv(
            *[f"m{n},2025-02-03,F,35,165.0,65.0,{word}" for n, word in enumerate(words)],
            header=HEADER + ",Ath",
        ),
    )
    house.receive()
    assert house.accepted("is_athlete_mode") == [True, False, True, False, True, None]
    assert house.held() == [(8, ["unreadable:athlete_mode"])]


def test_constants_fill_what_the_file_leaves_out_in_any_writing(house):
    house.profile("""format = "csv"
delimiter = ";"
decimal = ","
[columns]
participant = { header = "Member" }
height = { header = "Ht" }
weight = { header = "Wt", unit = "lb" }
[constants]
measured_on = "2025-03-31"
sex = "female"
age = 35
athlete_mode = false
clothing_weight = 0.5
""")
    house.put("a.csv", "Member;Ht;Wt\nm1;165,5;143\n")
    house.receive()
    assert house.accepted(
        "measured_on::varchar", "sex", "age", "is_athlete_mode", "clothing_weight_kg", "height_cm"
    ) == [("2025-03-31", "female", 35, False, 0.5, 165.5)]


def test_every_step_of_the_profile_reaches_the_checks(tmp_path):
    from invented_site import profile_of

    from pipeline.intake.normalising import print_steps

    assert print_steps(profile_of(PROFILE, tmp_path)) == {
        "height_step_cm": 0.1,
        "weight_step_kg": 0.1,
        "mass_step_kg": 0.1,
        "percent_step": 0.1,
    }
    imperial = PROFILE.replace('"Ht"', '"Ht", unit = "in", resolution = 0.5').replace(
        '"Wt"', '"Wt", unit = "lb"'
    )
    steps = print_steps(
        profile_of(imperial + 'fat_mass = { header = "FM", unit = "lb", resolution = 1 }\n', tmp_path)
    )
    assert steps == {
        "height_step_cm": 1.27,
        "weight_step_kg": 0.090718474,
        "mass_step_kg": 0.45359237,
        "percent_step": 0.1,
    }
