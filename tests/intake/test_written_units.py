"""Heights and masses that carry their own unit: read where certain, else not at all."""

import pytest
from invented_site import PROFILE, csv


@pytest.mark.parametrize(
    ("text", "centimetres"),
    [
        ("5'4\"", 64 * 2.54),
        ("5'4", 64 * 2.54),
        ("5' 4\"", 64 * 2.54),
        ("5’4”", 64 * 2.54),
        ("5'4''", 64 * 2.54),
        ("5 ft 9 in", 69 * 2.54),
        ("5ft9", 69 * 2.54),
        ("5 feet and 8.11 inches", 68.11 * 2.54),
        ("5'11.5\"", 71.5 * 2.54),
        ("6'", 72 * 2.54),
        ("6 ft", 72 * 2.54),
        ("70 in", 70 * 2.54),
        ('70"', 70 * 2.54),
        ("165cm", 165.0),
        ("165.5 CM", 165.5),
        ("165,5 cm", 165.5),
        ("1.65 m", 165.0),
        ("1,65m", 165.0),
        ("1m65", 165.0),
        ("1650 mm", 165.0),
        ("5'12\"", None),
        ("5.3 ft", None),
        ("5,3", None),
        ("5 3", None),
        ("165 kg", None),
        ("tall", None),
        ("", None),
        ("5'4\" or so", None),
        ("m", None),
        ("5''4", None),
        ("511", None),
    ],
)
def test_a_written_height(macros, text, centimetres):
    found = macros.value("select written_length_cm(tidied_written($text))", {"text": text})
    assert found == (None if centimetres is None else pytest.approx(centimetres, rel=1e-15))


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("11 st 4 lb", 158 * 0.45359237),
        ("11st 4", 158 * 0.45359237),
        ("11 stone 4 pounds", 158 * 0.45359237),
        ("11st 4.5lbs", 158.5 * 0.45359237),
        ("11 st", 154 * 0.45359237),
        ("172 lb", 172 * 0.45359237),
        ("172lbs.", 172 * 0.45359237),
        ("71.5 kg", 71.5),
        ("71,5kg", 71.5),
        ("71500 g", 71.5),
        ("11 st 14 lb", None),
        ("11.4 st", None),
        ("72", None),
        ("72 cm", None),
        ("heavy", None),
    ],
)
def test_a_written_mass(macros, text, kilograms):
    found = macros.value("select written_mass_kg(tidied_written($text))", {"text": text})
    assert found == (None if kilograms is None else pytest.approx(kilograms, rel=1e-15))


def test_a_plain_number_is_in_the_profiles_unit_and_nothing_is_guessed(house):
    house.profile(PROFILE.replace('"Ht"', '"Ht", unit = "in", written_units = true'))
    heights = ["65", '5\'4""', "165cm", "5,3", "165"]
    house.put("a.csv", csv(*[f'm{n},2025-02-03,F,35,"{height}",65.0' for n, height in enumerate(heights)]))
    house.receive()
    assert house.accepted("line", "height_cm") == [(2, 165.1), (3, 162.56), (4, 165.0)]
    assert [codes[0] for _, codes in house.held()] == ["unreadable:height", "height_in_centimetres"]


def test_written_units_are_not_read_unless_the_profile_says_so(house):
    house.put("a.csv", csv("m1,2025-02-03,F,35,165cm,65.0"))
    summary = house.receive()
    assert house.held() == [(2, ["unreadable:height"])]
    assert "found 165cm; expected a number of centimetres written with a point (cm)" in summary.messages[0]
