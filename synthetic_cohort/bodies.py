"""The true body at each reading: what an analyser without fault would find."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_cohort import composition
from synthetic_cohort.people import People, height_cm, untouched_bmi
from synthetic_cohort.programme_effect import progress
from synthetic_cohort.visits import Visits, quarters_in_programme

SEASON_KG = 0.35  # heavier by this in mid-January than in the mean, lighter in July: project's choice


@dataclass(frozen=True)
class Bodies:
    """Shapes: every array is (readings,). Units in the names."""

    age: np.ndarray  # years with fraction
    height_cm: np.ndarray
    weight_kg: np.ndarray
    fat_mass_kg: np.ndarray
    programme_change_kg: np.ndarray  # the part of the weight that is the programme's doing


def bodies_at(people: People, visits: Visits) -> Bodies:
    """The people of some visits as they are on the day.

    Source   height and BMI: growth.py. Programme: programme_effect.py. Season: ±0.35 kg over the year, project's
             choice. Day to day: visits.DAY_TO_DAY_SD, all water and gut content. Fat: composition.py.
    """
    who = people.take(visits.person)
    day = visits.day
    age = who.age + (day - who.first_day) / 365.25
    stature = height_cm(who, age)
    bmi = untouched_bmi(who, age)
    untouched = bmi * (stature / 100) ** 2
    reached = progress(quarters_in_programme(people, visits.person, day))
    programme = untouched * who.response * reached + 0.0  # no minus zero in the truth
    scale = untouched / 75  # smaller bodies swing less
    season = SEASON_KG * scale * np.cos(2 * np.pi * (day - 14) / 365.25)
    slow = untouched + programme + season
    weight = slow + visits.day_noise * scale
    at = np.where(who.age >= 19, who.age, age)
    expected = np.clip(composition.fat_percent(bmi, at, who.is_female) + who.fat_deviation, 5, 60)
    fat = np.minimum(composition.fat_mass_kg(untouched, slow, expected), 0.65 * weight)
    return Bodies(age, stature, weight, fat, programme)
