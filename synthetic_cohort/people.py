"""Who comes: age, sex, stature, build and habits of the people of one site.

One array a fact, one element a person; nothing here changes from visit to visit except through age.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from synthetic_cohort import growth

# Ages in whole years and how often, by kind of site: project's choice. Between two knots ages are even.
_AGE_KNOTS = {
    "gym": ((16, 20, 30, 40, 50, 60, 70, 85), (0.08, 0.27, 0.25, 0.17, 0.12, 0.08, 0.03)),
    "clinic": ((18, 30, 40, 50, 60, 70, 80, 92), (0.08, 0.12, 0.17, 0.23, 0.22, 0.13, 0.05)),
    "school": ((5, 10, 15, 19), (0.35, 0.40, 0.25)),
    "workplace": ((18, 25, 35, 45, 55, 67), (0.13, 0.28, 0.27, 0.22, 0.10)),
    "community": ((5, 12, 18, 30, 45, 60, 75, 92), (0.06, 0.06, 0.14, 0.22, 0.25, 0.20, 0.07)),
}
_FEMALE_SHARE = {"gym": 0.48, "clinic": 0.56, "school": 0.50, "workplace": 0.44, "community": 0.58}
# Mean z-score of BMI by kind: project's choice. The spread is 1.1 everywhere.
BMI_Z_MEAN = {"gym": -0.05, "clinic": 0.45, "school": 0.35, "workplace": 0.10, "community": 0.20}
BMI_Z_SD = 1.1
ATHLETE_SHARE = {"gym": 0.06, "clinic": 0.0, "school": 0.0, "workplace": 0.02, "community": 0.01}


@dataclass
class People:
    """People of one site. Shapes: every array is (people,)."""

    number: np.ndarray  # over the whole programme, from 0
    home: np.ndarray  # site number where they joined
    is_female: np.ndarray
    age: np.ndarray  # years with fraction, on the day of the first visit
    height_z: np.ndarray
    height_error: np.ndarray  # cm by which the sites' stature for this person is off, before rounding
    bmi_z: np.ndarray
    fat_deviation: np.ndarray  # percentage points from what age, sex and BMI lead one to expect
    water_share: np.ndarray  # of fat-free mass
    bone_share: np.ndarray  # of fat-free mass
    is_athlete: np.ndarray
    heart_rate: np.ndarray  # at rest, per minute
    cardio_hours: np.ndarray  # per week
    response: np.ndarray  # true relative change of weight four programme quarters after the first visit
    first_day: np.ndarray  # day of the first visit, counted from the programme's first day
    programme_day: np.ndarray  # day from which the programme of the home site can work

    def take(self, index: np.ndarray) -> People:
        return People(**{field.name: getattr(self, field.name)[index] for field in fields(self)})

    def followed_by(self, other: People) -> People:
        return People(
            **{
                field.name: np.concatenate([getattr(self, field.name), getattr(other, field.name)])
                for field in fields(self)
            }
        )

    def __len__(self) -> int:
        return len(self.number)


def draw_people(rng: np.random.Generator, n: int, kind: str, site: int, first_number: int) -> People:
    """`n` people who join at a site of a kind; response and the two days are zero until others set them.

    Source   age and sex: project's choice by kind of site (above).
             height: z-score normal (0, 1) on WHO 2007 height-for-age, see growth.height_cm.
             BMI: z-score normal (mean by kind, 1.1) on the curves of growth.bmi.
             body fat about its regression: normal (0, 4.1) adults and children alike, the standard error of
             estimate of Deurenberg, Weststrate & Seidell, Br J Nutr 1991;65:105-14 (4.1 adults, 4.4 children).
             water in fat-free mass: normal (0.73, 0.02): Wang et al., Am J Clin Nutr 1999;69:833-41 for 0.73, the
             spread is the project's choice; bone mineral 5 % (0.3 %) of fat-free mass: project's choice.
             athletes: share by kind; 11 hours of cardio a week or more and a resting heart rate under 60, others
             less than 8 hours and 60 or more: project's choice after common practice.
    """
    knots, shares = _AGE_KNOTS[kind]
    age = np.interp(rng.random(n), np.concatenate([[0.0], np.cumsum(shares)]), knots)
    is_female = rng.random(n) < _FEMALE_SHARE[kind]
    is_athlete = (rng.random(n) < ATHLETE_SHARE[kind]) & (age >= 18) & (age < 60)
    bmi_z = rng.normal(BMI_Z_MEAN[kind], BMI_Z_SD, n)
    calm, busy = rng.normal(52, 4, n), rng.normal(72, 8, n)
    some, many = rng.gamma(1.6, 1.3, n), 11 + rng.gamma(2.0, 1.2, n)
    return People(
        number=first_number + np.arange(n),
        home=np.full(n, site, dtype=np.int16),
        is_female=is_female,
        age=age,
        height_z=np.clip(rng.normal(0, 1, n), -3.5, 3.5),
        height_error=rng.normal(0, 0.4, n).clip(-1, 1),
        bmi_z=np.where(is_athlete, np.clip(bmi_z, -1.0, 1.2), np.clip(bmi_z, -3.2, 3.2)),
        fat_deviation=rng.normal(0, 4.1, n).clip(-9, 9) - np.where(is_athlete, 4.0, 0.0),
        water_share=rng.normal(0.73, 0.02, n).clip(0.67, 0.79),
        bone_share=rng.normal(0.050, 0.003, n).clip(0.04, 0.06),
        is_athlete=is_athlete,
        heart_rate=np.where(is_athlete, calm.clip(38, 56), busy.clip(62, 105)),
        cardio_hours=np.where(is_athlete, many.clip(11.0, 20.0), some.clip(0.0, 7.9)),
        response=np.zeros(n),
        first_day=np.zeros(n, dtype=np.int32),
        programme_day=np.zeros(n, dtype=np.int32),
    )


def height_cm(people: People, age) -> np.ndarray:
    """Stature at an age. Grown people keep the stature of their first visit; the young follow their curve."""
    grown = np.where(people.age >= 19, people.age, np.minimum(age, 19.0))
    return growth.height_cm(grown, people.is_female, people.height_z)


def untouched_bmi(people: People, age) -> np.ndarray:
    """BMI had there been no programme: adults stay as they were at the first visit, the young follow their curve."""
    at = np.where(people.age >= 19, people.age, np.minimum(age, 19.0))
    return growth.bmi(at, people.is_female, people.bmi_z)
