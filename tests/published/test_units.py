"""Units of received text, against exact definitions.

International yard and pound agreement (1959): 1 yd = 0.9144 m and 1 lb = 0.45359237 kg exactly, so 1 in = 2.54 cm,
1 ft = 30.48 cm, 1 stone = 14 lb; 1 kcal(th) = 4.184 kJ. NIST SP 811 (2008), appendix B, lists them. Citations from
memory; the factors are exact by definition. The derived figures were worked out with exact fractions.
"""

from fractions import Fraction

import pytest

from pipeline.measures import UNITS
from pipeline.store import Store

POUND, INCH = Fraction("0.45359237"), Fraction("2.54")


@pytest.fixture(scope="module")
def macros():
    with Store.open(None) as store:
        yield store


@pytest.mark.parametrize(
    ("code", "factor"),
    [
        ("[lb_av]", POUND),
        ("[stone_av]", Fraction("6.35029318")),
        ("[in_i]", INCH),
        ("[ft_i]", Fraction("30.48")),
        ("kJ/d", 1 / Fraction("4.184")),
        ("MJ/d", 1000 / Fraction("4.184")),
        ("g", Fraction(1, 1000)),
        ("m", Fraction(100)),
    ],
)
def test_factors_are_exact(code, factor):
    assert UNITS[code].factor == factor


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("11 st 4 lb", "71.66759446"),
        ("158 lb", "71.66759446"),
        ("1 lb", "0.45359237"),
        ("1 stone", "6.35029318"),
    ],
)
def test_written_mass(macros, text, kilograms):
    found = macros.value("select written_mass_kg(tidied_written($text))", {"text": text})
    assert found == pytest.approx(float(Fraction(kilograms)), rel=2e-16)


@pytest.mark.parametrize(
    ("text", "centimetres"),
    [("5 ft 9 in", "175.26"), ("69 in", "175.26"), ("1 in", "2.54"), ("1 ft", "30.48"), ("5'9\"", "175.26")],
)
def test_written_length(macros, text, centimetres):
    found = macros.value("select written_length_cm(tidied_written($text))", {"text": text})
    assert found == pytest.approx(float(Fraction(centimetres)), rel=2e-16)


def test_bmi_from_pounds_and_inches():
    """11 st 4 lb and 5 ft 9 in: 23.33228179; in pounds and inches the constant is 703.0695796, not 703."""
    exact = 158 * POUND / (Fraction("1.7526") ** 2)
    assert float(exact) == pytest.approx(23.33228179, abs=5e-9)
    assert float(POUND / (INCH / 100) ** 2) == pytest.approx(703.0695796, abs=5e-8)


def test_1500_kilocalories_are_6276_kilojoules():
    assert 6276 * UNITS["kJ/d"].factor == 1500
