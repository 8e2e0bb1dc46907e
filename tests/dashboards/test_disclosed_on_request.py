"""The methods page says that counts are rounded or noisy, where they are, and nothing of it where they are not."""

from __future__ import annotations

from dashboards.methods import _how_disclosed

PLAIN = {"minimum_count": 10, "minimum_people_for_percentile": 30}
NOISE = {
    "unit": "one person in one period",
    "epsilon_of_a_person_in_every_period": 2.0,
    "delta_of_a_person_in_every_period": 1e-6,
    "holds_for": "this table alone",
}


def test_a_release_without_either_says_nothing():
    assert list(_how_disclosed(PLAIN)) == []
    assert list(_how_disclosed({**PLAIN, "rounding": None, "noise": None})) == []


def test_rounding_names_its_base_and_says_that_it_protects_nobody():
    ((title, text),) = _how_disclosed({**PLAIN, "rounding": 5})
    assert title == "Rounded counts" and "nearest multiple of 5" in text and "protects nobody" in text


def test_noise_states_unit_and_budget():
    ((_, text),) = _how_disclosed({**PLAIN, "noise": NOISE})
    assert "epsilon 2 and delta 1e-06" in text and "one person in one period" in text
    assert "holds for this table alone" in text
