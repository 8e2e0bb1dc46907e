"""What an analyser prints for a body: every field at print resolution, agreeing as a real analyser's do.

Masses are whole print steps inside (0.1 kg, or 0.2 lb), so fat mass + fat-free mass is the printed weight exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_cohort import composition
from synthetic_cohort.analysers import Analysers
from synthetic_cohort.bodies import Bodies
from synthetic_cohort.layouts import Layout
from synthetic_cohort.people import People
from synthetic_cohort.visits import Visits

KG_A_POUND, CM_AN_INCH, KJ_A_KCAL = 0.45359237, 2.54, 4.184  # exact; measures.UNITS has them as fractions
CM_A_UNIT = {"cm": 1.0, "m": 100.0, "[in_i]": CM_AN_INCH}
ATHLETE_MODE_FAT = -5.0  # percentage points, the usual way an athlete's equation differs: project's choice
SEX_SHARE = 0.85  # of the two sexes' difference in the regression that entering the wrong sex moves


@dataclass
class Entry:
    """What the operator enters before a reading. Shapes: every array is (readings,)."""

    is_female: np.ndarray
    is_athlete: np.ndarray
    clothing_kg: np.ndarray  # taken off by the analyser
    worn_kg: np.ndarray  # really worn


def draw_entry(rng: np.random.Generator, people: People, visits: Visits) -> Entry:
    """What an operator enters without a mistake: clothing to half a kilogram, more in winter. Project's choice."""
    n = len(visits)
    winter = 0.5 + 0.5 * np.cos(2 * np.pi * (visits.day - 14) / 365.25)
    usual = np.select([rng.random(n) < 0.55 - 0.3 * winter, rng.random(n) < 0.7], [0.5, 1.0], 1.5)
    worn = usual + rng.normal(0, 0.12, n)
    return Entry(people.is_female[visits.person], people.is_athlete[visits.person], usual, worn)


@dataclass
class Printed:
    """Values as they will stand in a file, in the site's units. Shapes: every array is (readings,).

    Missing  nan in `values`; -1 in minute, sex (0 male, 1 female) and athlete (0 no, 1 yes).
    """

    values: dict[str, np.ndarray]
    minute: np.ndarray
    sex: np.ndarray
    athlete: np.ndarray
    device: np.ndarray  # index into the site's analysers


def print_readings(
    rng: np.random.Generator,
    people: People,
    visits: Visits,
    bodies: Bodies,
    entry: Entry,
    analysers: Analysers,
    which: np.ndarray,
    layout: Layout,
    first_day: int,
) -> Printed:
    """Bodies on analysers → printed values in the site's units. `which` is the analyser of each reading.

    Source   body fat: the true share, the analyser's bias and noise, what a wrong entry moves (Gallagher 2000 for
             sex, project's choice for athlete mode). Water: the person's share of fat-free mass, 0.004 noise
             (project's choice), or the analyser's constant. Muscle is fat-free mass less bone (common practice).
             BMR, visceral fat level and metabolic age: composition.py, from the printed weight and height.
    """
    weight_noise, fat_noise, water_noise = rng.normal(0, 1, (3, len(visits)))
    gross_kg = bodies.weight_kg + entry.worn_kg + analysers.weight_error_kg(which, visits.day, first_day)
    mass = _MassSteps(layout)
    clothing = mass.steps(entry.clothing_kg)
    weight = mass.steps(gross_kg + weight_noise * analysers.weight_noise_kg[which] - mass.kg(clothing))
    fat_tenths = _fat_tenths(people, visits, bodies, entry, analysers, which, fat_noise)
    fat = half_up(weight * fat_tenths / 1000)
    free = weight - fat
    bone = half_up(free * people.bone_share[visits.person])
    water_share = people.water_share[visits.person] + 0.004 * water_noise
    water = half_up(free * (water_share if np.isnan(analysers.water_constant) else analysers.water_constant))
    values = {
        "weight": mass.printed(weight),
        "clothing_weight": mass.printed(clothing),
        "body_fat_percent": fat_tenths / 10,
        "fat_mass": mass.printed(fat),
        "fat_free_mass": mass.printed(free),
        "muscle_mass": mass.printed(free - bone),
        "total_body_water": mass.printed(water),
        "total_body_water_percent": half_up(1000 * water / weight) / 10,
        "bone_mineral_mass": mass.printed(bone),
        **_from_stature(people, visits, bodies, entry, mass.kg(weight), fat_tenths, layout),
        "resting_heart_rate": half_up(people.heart_rate[visits.person] + rng.integers(-2, 3, len(visits))),
        "cardio_hours_per_week": half_up(people.cardio_hours[visits.person] * 2) / 2,
    }
    return Printed(
        values, visits.minute.copy(), entry.is_female.astype(np.int8), entry.is_athlete.astype(np.int8), which
    )


class _MassSteps:
    """Kilograms and a site's masses as whole print steps: 0.1 kg, or 0.2 lb."""

    def __init__(self, layout: Layout):
        self._kg_a_unit = KG_A_POUND if layout.mass_unit == "[lb_av]" else 1.0
        self._tenths_a_step = round(layout.mass_step * 10)

    def steps(self, kg) -> np.ndarray:
        return half_up(kg / self._kg_a_unit * 10 / self._tenths_a_step)

    def printed(self, steps) -> np.ndarray:
        return steps * self._tenths_a_step / 10

    def kg(self, steps) -> np.ndarray:
        return self.printed(steps) * self._kg_a_unit


def _from_stature(people, visits, bodies, entry, weight_kg, fat_tenths, layout) -> dict[str, np.ndarray]:
    """The fields that an analyser works out from the age, sex and stature it was given."""
    height, decimals = _height(people, visits, bodies, layout)
    cm = height * CM_A_UNIT[layout.height_unit]
    bmi = weight_kg * 10_000 / (cm * cm)
    years = np.floor(bodies.age)
    rate = half_up(composition.basal_metabolic_rate(weight_kg, cm, years, entry.is_female))
    metabolic_age = composition.metabolic_age(fat_tenths / 10, years, entry.is_female)
    visceral = composition.visceral_fat_level(bmi, years, entry.is_female)
    is_grown = bodies.age >= 18  # analysers give these two to adults only: common practice
    return {
        "age": np.floor(bodies.age * 12) if layout.age_unit == "mo" else years,
        "height": np.round(height, decimals),
        "bmi": half_up(bmi * 10) / 10,
        "basal_metabolic_rate": half_up(rate * KJ_A_KCAL) if layout.energy_unit == "kJ/d" else rate,
        "metabolic_age": np.where(is_grown, metabolic_age, np.nan),
        "visceral_fat_level": np.where(is_grown, visceral, np.nan),
    }


def _height(people: People, visits: Visits, bodies: Bodies, layout: Layout) -> tuple[np.ndarray, int]:
    """Stature as the site keeps it for a person: the same number at each visit once grown."""
    error = people.height_error[visits.person]
    steps_a_unit = round(1 / layout.height_step)
    unit = (bodies.height_cm + error) / CM_A_UNIT[layout.height_unit]
    return half_up(unit * steps_a_unit) / steps_a_unit, 2 if layout.height_step < 0.1 else 1


def _fat_tenths(people, visits, bodies, entry, analysers, which, noise) -> np.ndarray:
    true = 100 * bodies.fat_mass_kg / bodies.weight_kg
    years = np.floor(bodies.age)
    real_sex, real_athlete = people.is_female[visits.person], people.is_athlete[visits.person]
    bmi = bodies.weight_kg * 10_000 / bodies.height_cm**2
    moved_by_sex = SEX_SHARE * (
        composition.fat_percent(bmi, years, entry.is_female) - composition.fat_percent(bmi, years, real_sex)
    )
    moved_by_mode = ATHLETE_MODE_FAT * (entry.is_athlete.astype(float) - real_athlete)
    found = true + moved_by_sex + moved_by_mode + analysers.fat_bias_percent[which]
    return half_up(10 * np.clip(found + noise * analysers.fat_noise_percent[which], 3, 70))


def half_up(value) -> np.ndarray:
    """The nearest whole number, halves up, as printers of readings do; nan stays nan."""
    return np.floor(np.asarray(value, dtype=float) + 0.5)
