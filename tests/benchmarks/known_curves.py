"""Populations whose percentile curves are known: one inside the Box-Cox-Cole-Green family, one far outside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from pipeline.statistics.box_cox_cole_green import value_at_z

Floats = NDArray[np.float64]

AGES = (18, 89)
STEP = 0.1  # print resolution
_HEAVY, _LIGHT, _SPREAD, _DRIFT = 36.0, 24.0, 2.5, 0.03  # of the mixture; drift a year


@dataclass(frozen=True)
class Truth:
    """value_at: normal scores and ages, broadcast together, to values; monotone in the score."""

    title: str
    value_at: Callable[[Floats, Floats], Floats]

    def curves(self, age: Floats, percents: Floats) -> Floats:
        """Shapes: age (ages,), percents (percents,) → (ages, percents)."""
        return self.value_at(
            ndtri(np.asarray(percents) / 100)[None, :], np.asarray(age, dtype=float)[:, None]
        )

    def spread(self, age: Floats) -> Floats:
        """Half the way from the 16th to the 84th percentile: a standard deviation where values are normal. (ages,)"""
        low, high = self.curves(age, 100 * ndtr([-1.0, 1.0])).T
        return (high - low) / 2


def inside_lms(age: Floats) -> tuple[Floats, Floats, Floats]:
    """L, M and S of the population inside the family."""
    age = np.asarray(age, dtype=float)
    return np.full(age.shape, -0.6), 16 + 11 * (1 - np.exp(-(age - 5) / 18)), 0.11 + 0.0006 * age


def _inside(z: Floats, age: Floats) -> Floats:
    return value_at_z(z, *inside_lms(age))


def _mixture(z: Floats, age: Floats) -> Floats:
    """Eight in ten about 24, two in ten about 36, from a table of the distribution function."""
    grid = np.linspace(5, 60, 40_001)
    share = 0.2 * ndtr((grid - _HEAVY) / _SPREAD) + 0.8 * ndtr((grid - _LIGHT) / _SPREAD)
    return np.interp(ndtr(z), share, grid) + _DRIFT * (np.asarray(age) - AGES[0])


INSIDE = Truth("inside the family (BMI-like, L = −0.6)", _inside)
MIXTURE = Truth("20/80 mixture, outside the family", _mixture)


def counted(age: Floats, value: Floats) -> tuple[Floats, Floats, Floats]:
    """People as cells of age and printed value with their count, sorted."""
    cells, n = np.unique(np.stack([age, np.rint(value / STEP)]), axis=1, return_counts=True)
    return cells[0], cells[1] * STEP, n
