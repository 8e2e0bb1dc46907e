# Adult band of body water as % of weight, women 45 to 60, men 50 to 65, both ends within: common practice, no source.
# Water in fat-free mass about 0.73: Pace & Rathbun, J Biol Chem 1945;158:685-91; Wang et al., Am J Clin Nutr
# 1999;69:833-41. At 0.73 the edges of the band are fat percentages: 45, 50, 60, 65 % water are 38.3562, 31.5068,
# 17.8082, 10.9589 % fat (computed: water % = 0.73 * (100 − fat %)).
# Visceral fat level, usual 1 to 12, excess 13 to 59: common practice, no source.

import math

import pytest

from pipeline.store import Store

ENDS = {"female": (45, 60), "male": (50, 65)}


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        yield opened


def band(store, sex, percent):
    return store.value("select band_hydration($sex, $percent::double)", {"sex": sex, "percent": percent})


@pytest.mark.parametrize("sex", ENDS)
def test_both_ends_are_within_and_the_next_tenth_is_not(store, sex):
    low, high = ENDS[sex]
    found = [band(store, sex, value) for value in (low - 0.1, low, high, high + 0.1)]
    assert found == ["below", "within", "within", "above"]


@pytest.mark.parametrize("sex", ENDS)
def test_one_unit_of_the_last_place_outside_an_end_is_outside(store, sex):
    low, high = ENDS[sex]
    assert [band(store, sex, x) for x in (math.nextafter(low, 0), math.nextafter(high, 99))] == [
        "below",
        "above",
    ]


@pytest.mark.parametrize("sex", ENDS)
def test_every_pair_of_masses_is_in_the_band_of_whole_tenths(store, sex):
    """Weight 10.0 to 300.0 kg, water 5.0 to 110.0 kg: 100 * water against low * weight and high * weight, whole."""
    low, high = ENDS[sex]
    assert (
        store.rows(
            """
        select weight, water
        from (select unnest(range(100, 3001)) as weight) cross join (select unnest(range(50, 1101)) as water)
        where band_hydration($sex, water_percent(null, water / 10, weight / 10)) <> case
            when 100 * water < $low * weight then 'below'
            when 100 * water <= $high * weight then 'within' else 'above' end
        order by all limit 5""",
            {"sex": sex, "low": low, "high": high},
        )
        == []
    )


@pytest.mark.parametrize(
    ("water_percent", "fat_percent"), [(45, 38.3562), (50, 31.5068), (60, 17.8082), (65, 10.9589)]
)
def test_the_ends_of_the_band_are_fat_percentages_at_ordinary_hydration(store, water_percent, fat_percent):
    weight = 1000.0
    lean = weight * (100 - fat_percent) / 100
    found = store.value(
        "select share($water::double, $lean::double)", {"water": weight * water_percent / 100, "lean": lean}
    )
    assert found == pytest.approx(0.73, abs=2e-6)


def test_without_a_percentage_there_is_no_band(store):
    assert band(store, "male", None) is None


def test_visceral_fat_from_level_13_on_is_excess(store):
    found = store.rows(
        "select band_visceral_fat(level) from (select unnest([1, 12, 12.5, 13, 59, null]) as level)"
    )
    assert [name for (name,) in found] == ["usual", "usual", "usual", "excess", "excess", None]
