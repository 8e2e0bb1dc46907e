# Mifflin & St Jeor, Am J Clin Nutr 1990;51:241-7, unrounded form; Schofield, Hum Nutr Clin Nutr 1985;39C Suppl 1:5-41,
# by weight, age classes half-open [3,10) [10,18) [18,30) [30,60) [60,∞). Both seen on stored pages.
# Published worked example: FAO, Human energy requirements (2004): a woman of 20 to 30 years and 55 kg, 5.45 MJ a day
# (1 302 kcal). A woman of 25 years, 68 kg, 178 cm has 1507.8 kcal by Mifflin (seen on a stored page). The others were
# computed from the equations apart from this code.

import pytest

from pipeline.store import Store


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        yield opened


@pytest.mark.parametrize(
    ("sex", "age", "weight", "height", "rate"),
    [("male", 35, 80, 180, 1757.000), ("female", 35, 65, 165, 1347.400), ("female", 25, 68, 178, 1507.82)],
)
def test_mifflin(store, sex, age, weight, height, rate):
    found = store.value(
        "select bmr_mifflin($sex, $age::smallint, $w::double, $h::double)",
        {"sex": sex, "age": age, "w": weight, "h": height},
    )
    assert found == pytest.approx(rate, abs=1e-9)


@pytest.mark.parametrize(
    ("sex", "age", "weight", "rate"),
    [("male", 35, 80, 1790.860), ("female", 35, 65, 1373.790), ("female", 25, 55, 1301.59)],
)
def test_schofield(store, sex, age, weight, rate):
    assert _schofield(store, sex, age, weight) == pytest.approx(rate, abs=1e-9)


@pytest.mark.parametrize(
    ("sex", "rows"),
    [
        (
            "male",
            {
                9: (22.706, 504.3),
                10: (17.686, 658.2),
                17: (17.686, 658.2),
                18: (15.057, 692.2),
                29: (15.057, 692.2),
                30: (11.472, 873.1),
                59: (11.472, 873.1),
                60: (11.711, 587.7),
            },
        ),
        (
            "female",
            {
                9: (20.315, 485.9),
                10: (13.384, 692.6),
                17: (13.384, 692.6),
                18: (14.818, 486.6),
                29: (14.818, 486.6),
                30: (8.126, 845.6),
                59: (8.126, 845.6),
                60: (9.082, 658.5),
            },
        ),
    ],
)
def test_schofield_by_age_class_with_each_edge_in_the_older_one(store, sex, rows):
    for age, (slope, constant) in rows.items():
        assert _schofield(store, sex, age, 50) == pytest.approx(50 * slope + constant, abs=1e-9)


def _schofield(store, sex, age, weight):
    return store.value(
        "select bmr_schofield($sex, $age::smallint, $w::double)", {"sex": sex, "age": age, "w": weight}
    )
