"""Height and BMI by age and sex as LMS curves: WHO 2007 to the 19th birthday, the project's own curve after it.

A person carries one z-score of height and one of BMI; the curves turn them into centimetres and kg/m².
"""

from __future__ import annotations

from functools import cache
from importlib import resources

import numpy as np
import polars as pl

# WHO Reference 2007, height-for-age, whole years 5 to 19 (L is 1): median cm and coefficient of variation.
# de Onis et al., Bull World Health Organ 2007;85:660-7. Read in a stored copy of the table by half-years; the
# medians at 120, 192 and 228 months (both ends for girls too) agree with other stored copies.
_AGES = np.arange(5.0, 20.0)
_HEIGHT_M = {
    "male": (
        109.7265,
        115.9509,
        121.7338,
        127.2651,
        132.5652,
        137.7795,
        143.1126,
        149.0807,
        156.0426,
        163.1816,
        168.9580,
        172.8967,
        175.1609,
        176.1449,
        176.5432,
    ),
    "female": (
        109.0725,
        115.1244,
        120.8105,
        126.5558,
        132.4944,
        138.6363,
        144.9929,
        151.2327,
        156.3748,
        159.7890,
        161.6692,
        162.5156,
        162.8545,
        163.0595,
        163.1548,
    ),
}
_HEIGHT_S = {
    "male": (
        0.04156,
        0.04249,
        0.04342,
        0.04438,
        0.04535,
        0.04626,
        0.04703,
        0.04753,
        0.04760,
        0.04714,
        0.04619,
        0.04495,
        0.04364,
        0.04241,
        0.04134,
    ),
    "female": (
        0.04346,
        0.04447,
        0.04525,
        0.04581,
        0.04612,
        0.04614,
        0.04584,
        0.04523,
        0.04439,
        0.04345,
        0.04255,
        0.04176,
        0.04109,
        0.04053,
        0.04009,
    ),
}
SHORTER_PER_YEAR_CM = 0.10  # people born earlier are shorter: per year of age over 40, project's choice

# BMI after the 19th birthday: project's choice, a median that rises to the sixties and falls after, and a spread
# and skewness reached at 30. At 19 the curve is WHO's own last month, so nobody's BMI jumps on a birthday.
_ADULT_AGES = (30.0, 45.0, 60.0, 75.0, 95.0)
_ADULT_M = {"male": (25.2, 27.0, 27.5, 27.0, 25.2), "female": (24.4, 26.2, 27.3, 26.9, 25.0)}
_ADULT_S = {"male": 0.150, "female": 0.175}
_ADULT_L = -1.0


def height_cm(age, is_female, z):
    """Height of a person of a given age with z-score `z`.

    Shapes   age (years, may have a fraction), is_female, z: (n,); out (n,).
    Missing  ages under 5 are taken as 5.
    Source   WHO 2007 height-for-age (above), straight lines between whole years; over 19 the value at 19, less
             0.10 cm a year of age over 40 (project's choice).
    """
    age = np.asarray(age, dtype=float)
    years = np.minimum(age, 19.0)
    male, female = (
        np.interp(years, _AGES, _HEIGHT_M[sex]) * (1 + np.interp(years, _AGES, _HEIGHT_S[sex]) * z)
        for sex in ("male", "female")
    )
    return np.where(is_female, female, male) - SHORTER_PER_YEAR_CM * np.maximum(age - 40, 0)


def bmi_lms(age, is_female):
    """L, M and S of BMI by age and sex.

    Source   5 to 19: pipeline/reference/who_2007_bmi_for_age.csv (WHO 2007; de Onis et al. 2007), straight lines
             between completed months. Over 19: project's choice, the knots above.
    """
    months = np.asarray(age, dtype=float) * 12
    curves = []
    for letter in "lms":
        male, female = (np.interp(months, *_bmi_knots(sex, letter)) for sex in ("male", "female"))
        curves.append(np.where(is_female, female, male))
    return tuple(curves)


def bmi(age, is_female, z):
    """BMI at a z-score: M (1 + L S z)^(1/L); z is held within -4 and 4 so that the power stays defined."""
    el, em, es = bmi_lms(age, is_female)
    return em * (1 + el * es * np.clip(z, -4, 4)) ** (1 / el)


@cache
def _bmi_knots(sex: str, letter: str) -> tuple[np.ndarray, np.ndarray]:
    path = resources.files("pipeline.reference") / "who_2007_bmi_for_age.csv"
    table = pl.read_csv(path.read_bytes()).filter(pl.col("sex") == sex).sort("month")
    adult = {
        "l": (_ADULT_L,) * len(_ADULT_AGES),
        "m": _ADULT_M[sex],
        "s": (_ADULT_S[sex],) * len(_ADULT_AGES),
    }
    months = np.concatenate([table["month"].to_numpy(), np.array(_ADULT_AGES) * 12])
    return months, np.concatenate([table[letter].to_numpy(), np.array(adult[letter])])
