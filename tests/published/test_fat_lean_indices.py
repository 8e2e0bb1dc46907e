# Fat mass index = fat mass / height², fat-free mass index = fat-free mass / height², and the two add up to BMI.
# Medians at 18–34 years: Schutz, Kyle & Pichard, Int J Obes 2002;26:953-60 (abstract): FFMI 18.9 men, 15.4 women;
# FMI 4.0, 5.5. Quadrants about medians after Hattori, Tatsumi & Tanaka, Am J Hum Biol 1997;9:573-8 (from memory).
# Worked figures computed by hand: 80 kg, 1.80 m, 22 % fat; 65 kg, 1.65 m, 33 %.

import math

import pytest

from pipeline.store import Store

MEDIANS = {"male": (4.0, 18.9), "female": (5.5, 15.4)}


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        yield opened


@pytest.mark.parametrize(
    ("weight", "height", "percent", "fat", "lean", "fmi", "ffmi", "bmi"),
    [
        (80.0, 180.0, 22.0, 17.6, 62.4, 5.43210, 19.25926, 24.69136),
        (65.0, 165.0, 33.0, 21.45, 43.55, 7.87879, 15.99633, 23.87511),
    ],
)
def test_worked_figures(store, weight, height, percent, fat, lean, fmi, ffmi, bmi):
    found = store.rows(
        """
        select fat, lean, mass_index_kg_m2(fat, h), mass_index_kg_m2(lean, h), bmi_kg_m2(w, h)
        from (select $w::double as w, $h::double as h,
                  fat_kg(null::double, null::double, $p::double, $w::double) as fat,
                  fat_free_kg(null::double, null::double, $p::double, $w::double) as lean)""",
        {"w": weight, "h": height, "p": percent},
    )[0]
    assert found == pytest.approx((fat, lean, fmi, ffmi, bmi), abs=5e-6)
    assert found[2] + found[3] == pytest.approx(found[4], rel=1e-14)


@pytest.mark.parametrize("sex", MEDIANS)
def test_the_quadrants_meet_at_the_published_medians_which_count_as_more(store, sex):
    fmi, ffmi = MEDIANS[sex]
    less_fat, less_lean = math.nextafter(fmi, 0), math.nextafter(ffmi, 0)
    found = [
        store.value(
            "select band_fat_lean($sex, $fmi::double, $ffmi::double)", {"sex": sex, "fmi": x, "ffmi": y}
        )
        for x, y in ((less_fat, less_lean), (less_fat, ffmi), (fmi, less_lean), (fmi, ffmi))
    ]
    assert found == [
        "lower_fat_lower_lean",
        "lower_fat_higher_lean",
        "higher_fat_lower_lean",
        "higher_fat_higher_lean",
    ]


def test_with_one_index_missing_there_is_no_quadrant(store):
    assert store.rows("select band_fat_lean('male', null, 19.0), band_fat_lean('male', 4.0, null)") == [
        (None, None)
    ]
