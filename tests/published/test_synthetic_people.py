"""The demo's people against the sources that their distributions name."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from synthetic_cohort import composition, growth
from synthetic_cohort.people import BMI_Z_MEAN, BMI_Z_SD, draw_people, height_cm, untouched_bmi


# Gallagher D et al. (2000) Am J Clin Nutr 72:694-701, the table of percent fat at BMI 18.5, 25 and 30 by age group
# (20-39, 40-59, 60-79), evaluated at 30, 50 and 70. The table was seen on stored pages; the equation is from memory
# and reproduces all its 18 entries.
@pytest.mark.parametrize(
    ("is_female", "age", "expected"),
    [
        (True, 30, (21, 33, 39)),
        (True, 50, (23, 35, 40)),
        (True, 70, (24, 36, 42)),
        (False, 30, (8, 20, 25)),
        (False, 50, (11, 22, 28)),
        (False, 70, (13, 25, 30)),
    ],
)
def test_adult_fat_regression_gives_the_table_of_gallagher_2000(is_female, age, expected):
    found = composition.fat_percent_adult(np.array([18.5, 25.0, 30.0]), age, is_female)
    assert tuple(np.round(found)) == expected


# Deurenberg P, Weststrate JA, Seidell JC (1991) Br J Nutr 65:105-14, abstract: 1.51 BMI - 0.70 age - 3.6 sex + 1.4.
@pytest.mark.parametrize(
    ("bmi", "age", "is_female", "expected"), [(16.0, 10, True, 18.56), (16.0, 10, False, 14.96)]
)
def test_childrens_fat_regression_is_that_of_deurenberg_1991(bmi, age, is_female, expected):
    assert composition.fat_percent(bmi, age, is_female) == pytest.approx(expected)


def test_fat_passes_from_the_childs_to_the_adults_form_between_15_and_20():
    bmi, ages = 21.0, np.array([15.0, 17.5, 20.0])
    child, adult = (
        composition.fat_percent_child(bmi, ages, True),
        composition.fat_percent_adult(bmi, ages, True),
    )
    assert composition.fat_percent(bmi, ages, True) == pytest.approx(
        [child[0], (child[1] + adult[1]) / 2, adult[2]]
    )


# Mifflin MD, St Jeor ST et al. (1990) Am J Clin Nutr 51:241-7: 9.99 w + 6.25 h - 4.92 a + 5 (men) / - 161 (women).
# Schofield WN (1985) Hum Nutr Clin Nutr 39C Suppl 1:5-41, by weight: boys 3-10 22.706 w + 504.3, girls 10-18
# 13.384 w + 692.6. Computed by hand from those equations.
@pytest.mark.parametrize(
    ("kg", "cm", "age", "is_female", "expected"),
    [
        (80, 180, 35, False, 1757.0),
        (65, 165, 35, True, 1347.4),
        (25, 125, 8, False, 1071.95),
        (50, 160, 14, True, 1361.8),
    ],
)
def test_basal_metabolic_rate_is_mifflins_for_adults_and_schofields_under_18(
    kg, cm, age, is_female, expected
):
    assert composition.basal_metabolic_rate(kg, cm, age, is_female) == pytest.approx(expected)


# WHO Reference 2007 (de Onis et al., Bull WHO 2007;85:660-7), height-for-age medians at whole years and SD at 19 years
# (boys 7.30 cm, girls 6.54 cm), read in stored copies of the table.
@pytest.mark.parametrize(
    ("age", "is_female", "median"),
    [
        (5, False, 109.7),
        (10, False, 137.8),
        (14, False, 163.2),
        (19, False, 176.5),
        (5, True, 109.1),
        (10, True, 138.6),
        (14, True, 159.8),
        (19, True, 163.2),
    ],
)
def test_median_height_is_whos(age, is_female, median):
    assert growth.height_cm([age], [is_female], [0.0])[0] == pytest.approx(median, abs=0.05)


def test_height_at_19_has_whos_spread_and_stays_so_to_40():
    for is_female, sd in ((False, 7.30), (True, 6.54)):
        tall = growth.height_cm([19.0, 40.0], [is_female] * 2, [1.0, 1.0])
        mean = growth.height_cm([19.0, 40.0], [is_female] * 2, [0.0, 0.0])
        assert tall - mean == pytest.approx([sd, sd], abs=0.005)


# The SD lines of the WHO 2007 BMI-for-age table, computed in R from L, M and S (WHO prints them to 0.1).
@pytest.mark.parametrize(
    ("month", "is_female", "lines"),
    [
        (61, False, (12.1176, 13.0308, 14.0708, 15.2641, 16.6451, 18.2589, 20.1656)),
        (120, True, (12.3775, 13.4697, 14.8379, 16.6133, 19.0320, 22.5705, 28.3779)),
        (228, False, (15.8551, 17.5544, 19.6223, 22.1883, 25.4486, 29.7156, 35.5163)),
    ],
)
def test_bmi_curve_is_whos_to_the_19th_birthday(month, is_female, lines):
    z = np.arange(-3, 4)
    assert growth.bmi(np.full(7, month / 12), np.full(7, is_female), z) == pytest.approx(lines, abs=6e-5)


def test_nobodys_bmi_jumps_at_a_birthday():
    ages = np.arange(5, 96, 1 / 12)
    for is_female in (False, True):
        for z in (-2.0, 0.0, 2.0):
            course = growth.bmi(ages, np.full(len(ages), is_female), z)
            assert np.abs(np.diff(course)).max() < 0.15


# Project's choice of the mean and spread of z (people.BMI_Z_MEAN, BMI_Z_SD); the shares beyond the WHO lines follow
# from the normal distribution. Four standard errors either side.
@pytest.mark.parametrize("kind", ["school", "community"])
def test_shares_beyond_whos_lines_are_those_that_the_z_scores_imply(kind):
    people = draw_people(np.random.default_rng(20250101), 60_000, kind, 0, 0)
    young = people.take(np.flatnonzero(people.age < 19))
    l_, m_, s_ = growth.bmi_lms(young.age, young.is_female)
    z = ((untouched_bmi(young, young.age) / m_) ** l_ - 1) / (l_ * s_)
    for line in (-2, 1, 2):
        expected = norm.cdf(line, BMI_Z_MEAN[kind], BMI_Z_SD)
        assert (z < line).mean() == pytest.approx(
            expected, abs=4 * np.sqrt(expected * (1 - expected) / len(z))
        )


def test_adults_heights_have_the_mean_and_spread_of_who_at_19():
    people = draw_people(np.random.default_rng(2), 60_000, "workplace", 0, 0)
    adults = people.take(np.flatnonzero((people.age >= 20) & (people.age < 40)))
    heights = height_cm(adults, adults.age)
    for is_female, mean, sd in ((False, 176.54, 7.30), (True, 163.15, 6.54)):
        of_sex = heights[adults.is_female == is_female]
        assert of_sex.mean() == pytest.approx(mean, abs=0.2)
        assert of_sex.std() == pytest.approx(sd, abs=0.15)


# Wang Z et al. (1999) Am J Clin Nutr 69:833-41: 0.73 of fat-free mass is water (abstract). Spread: project's choice.
def test_water_in_fat_free_mass_is_0_73_on_the_average():
    people = draw_people(np.random.default_rng(3), 40_000, "gym", 0, 0)
    assert people.water_share.mean() == pytest.approx(0.73, abs=0.0005)
    assert people.water_share.std() == pytest.approx(0.02, abs=0.0006)


# "A quarter of weight lost is fat-free": common practice, no source.
def test_three_quarters_of_a_change_of_weight_is_fat():
    assert composition.fat_mass_kg(100.0, 90.0, 30.0) == pytest.approx(30.0 - 7.5)
    assert composition.fat_mass_kg(100.0, 104.0, 30.0) == pytest.approx(30.0 + 3.0)


# Levels that analysers print for adults. Project's choice, no published rule: the ends of the scale only.
def test_visceral_fat_level_stays_on_its_scale_and_rises_with_bmi_and_age():
    bmi = np.array([14.0, 24.0, 32.0, 80.0])
    for is_female in (True, False):
        levels = composition.visceral_fat_level(bmi, 50, is_female)
        assert levels[0] == 1 and np.all(np.diff(levels) > 0) and levels[-1] <= 59
        assert composition.visceral_fat_level(30.0, 70, is_female) > composition.visceral_fat_level(
            30.0, 40, is_female
        )
