"""Rounding by arithmetic gives, bit for bit, what Python's own decimal form gives: float(f"{x:.7g}").

CPython formats and reads floats correctly rounded (David Gay's algorithms; the Python documentation of `float` and
of the "g" presentation type), so it stands for the definition here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.release.rounding import rounded

MANY = 20_000
SEED = np.random.default_rng(20260115)
POWERS = SEED.integers(-26, 26, MANY)
KEPT = SEED.integers(10**6, 10**7, MANY)
SETS = {
    "of every size": SEED.uniform(-1, 1, MANY) * 10.0 ** SEED.integers(-300, 300, MANY).astype(float),
    "any bits": SEED.integers(0, 2**64, MANY, dtype=np.uint64).view(np.float64),
    "weights": SEED.normal(70, 20, MANY),
    "half-way": (KEPT + 0.5) * 10.0**POWERS,
    "just over half-way": np.nextafter((KEPT + 0.5) * 10.0**POWERS, np.inf),
    "just under half-way": np.nextafter((KEPT + 0.5) * 10.0**POWERS, 0),
    "a little off half-way": (KEPT + 0.5 + SEED.choice([-2e-6, 2e-6], MANY)) * 10.0**POWERS,
    "written with a 5 behind": (KEPT * 10 + 5) / 10.0 ** SEED.integers(0, 20, MANY),
    "seven digits": KEPT * 10.0**POWERS,
    "few digits": SEED.integers(-(10**5), 10**5, MANY) / 100,
    "powers of ten": np.array([float(f"1e{n}") for n in range(-323, 309)]),
    "just under powers of ten": np.nextafter([float(f"1e{n}") for n in range(-307, 309)], 0),
    "just over powers of ten": np.nextafter([float(f"1e{n}") for n in range(-307, 308)], np.inf),
    "nines": (1 - 10.0 ** -SEED.integers(5, 17, MANY).astype(float)) * 10.0**POWERS,
    "edges": np.array([0.0, -0.0, 5e-324, -5e-324, 1.7976931348623157e308, 9999999.5, 99999.995, 0.5,
                       2.0**53, 1e22, 1e23]),
}  # fmt: skip


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("digits", [7, 3])
def test_every_bit_is_that_of_the_decimal_form(name, digits):
    numbers = SETS[name][np.isfinite(SETS[name])]
    expected = np.array([float(f"{x:.{digits}g}") + 0.0 for x in numbers.tolist()])
    found = rounded(numbers, digits)
    np.testing.assert_array_equal(found.view(np.int64), expected.view(np.int64))


def test_missing_stays_missing_and_the_infinite_is_refused():
    found = rounded(np.array([math.nan, 0.1 + 0.2]), 7)
    assert math.isnan(found[0]) and found[1] == 0.3
    with pytest.raises(ValueError, match="infinite"):
        rounded(np.array([1.0, -math.inf]), 7)


@pytest.mark.parametrize("digits", [0, 8])
def test_digits_that_are_not_proved_are_refused(digits):
    with pytest.raises(ValueError, match="expected 1 to 7"):
        rounded(np.array([1.0]), digits)
