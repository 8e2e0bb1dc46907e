"""Invented populations with known percentiles, as value counts: one inside the Box-Cox family, one outside."""

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from pipeline.statistics.box_cox_cole_green import value_at_z


def lms_at(age):
    age = np.asarray(age, dtype=float)
    return np.full(age.shape, -0.6), 16 + 11 * (1 - np.exp(-(age - 5) / 18)), 0.11 + 0.0006 * age


def inside_family(people, seed=0, ages=(5, 95)):
    random = np.random.default_rng(seed)
    age = random.integers(*ages, people)
    return counted(age, value_at_z(random.standard_normal(people), *lms_at(age)))


def inside_family_at(age, percents):
    return value_at_z(norm.ppf(np.asarray(percents) / 100), *(a[:, None] for a in lms_at(age)))


def mixture(people, seed=0, ages=(18, 90)):
    """Eight in ten about 24, two in ten about 36, drifting slowly with age: no Box-Cox family holds that."""
    random = np.random.default_rng(seed)
    age = random.integers(*ages, people)
    centre = np.where(random.random(people) < 0.2, 36, 24)
    return counted(age, random.normal(centre, 2.5) + 0.03 * (age - 18))


def mixture_at(age, percents):
    def quantile(p):
        return brentq(lambda x: 0.2 * norm.cdf(x, 36, 2.5) + 0.8 * norm.cdf(x, 24, 2.5) - p, 0, 80)

    return np.array([quantile(p / 100) for p in percents]) + 0.03 * (np.asarray(age)[:, None] - 18)


def counted(age, value):
    cells, n = np.unique(np.stack([age, np.round(value, 1)]), axis=1, return_counts=True)
    return cells[0], cells[1], n
