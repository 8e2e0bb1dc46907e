"""Indirect standardisation: people in a band for each one that the ages and sexes of a site lead one to expect."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, ndtri

Floats = NDArray[np.float64]


def expected_count(people: ArrayLike, proportion: ArrayLike) -> Floats:
    """E = Σ n_i·r_i over strata.

    Shapes   people: (cells, strata) or (strata,); proportion: (strata,), the reference's; out (cells,).
    Units    people; proportion from 0 to 1.
    Missing  a stratum without reference (nan) makes the cell nan, unless nobody of the cell is in it.
    Source   Breslow & Day, IARC Sci Publ 82 (1987) ch. 2. Checked in tests/published/test_indirect_standardisation.py.
    """
    people = np.atleast_2d(np.asarray(people, dtype=float))
    return np.where(people > 0, people * np.asarray(proportion, dtype=float), 0).sum(axis=1)


def standardised_ratio(observed: ArrayLike, expected: ArrayLike) -> Floats:
    """O/E. Shapes: (cells,). Missing: nan where nothing is expected."""
    observed, expected = np.asarray(observed, dtype=float), np.asarray(expected, dtype=float)
    return observed / np.where(expected > 0, expected, np.nan)


def exact_ratio_interval(
    observed: ArrayLike, expected: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact Poisson limits of O/E: χ²_{α/2}(2O)/2E and χ²_{1−α/2}(2O + 2)/2E.

    Shapes   observed, expected, low, high: (cells,).
    Units    people in the band; ratio of people to people.
    Missing  nan where nothing is expected; low is 0 where nobody is observed.
    Errors   ValueError for a negative count.
    Source   Breslow & Day (1987) ch. 2. Checked in tests/published/test_indirect_standardisation.py.
    """
    observed, expected = _checked(observed, expected)
    tail = (1 - confidence) / 2
    low = np.where(observed > 0, chdtri(2 * np.maximum(observed, 1), 1 - tail) / 2, 0)
    return low / expected, chdtri(2 * observed + 2, tail) / 2 / expected


def byar_ratio_interval(
    observed: ArrayLike, expected: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Byar's approximation: within 0.2 % of the exact limits from 10 people observed on.

    Shapes, Units, Missing, Errors   as exact_ratio_interval.
    Source   Breslow & Day (1987) eq. 2.12 and 2.13. Checked in tests/published/test_indirect_standardisation.py.
    """
    observed, expected = _checked(observed, expected)
    z = ndtri((1 + confidence) / 2)
    some, more = np.maximum(observed, 1), observed + 1
    low = np.where(observed > 0, some * (1 - 1 / (9 * some) - z / (3 * np.sqrt(some))) ** 3, 0)
    return low / expected, more * (1 - 1 / (9 * more) + z / (3 * np.sqrt(more))) ** 3 / expected


def _checked(observed: ArrayLike, expected: ArrayLike) -> tuple[Floats, Floats]:
    observed, expected = np.asarray(observed, dtype=float), np.asarray(expected, dtype=float)
    if np.any(observed < 0):
        raise ValueError(f"{observed.min():g} people observed: counts are 0 or more")
    return observed, np.where(expected > 0, expected, np.nan)
