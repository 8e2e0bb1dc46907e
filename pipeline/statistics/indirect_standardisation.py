"""Indirect standardisation: people in a band for each one that the ages and sexes of a site lead one to expect."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.proportion_interval import wilson_interval

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


def ratio_interval(
    observed: ArrayLike, people: ArrayLike, expected: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Wilson's limits of O of n, carried over to O/E; what is expected is taken as known.

    A person is in the band or not, so O is binomial. Exact Poisson limits or Byar's, made for rare deaths, are too
    wide where the band is common: 98 to 99.8 % for 95 % with a quarter of people or more. Where it is rare all agree.

    Shapes   observed, people, expected, low, high: (cells,).
    Units    people in; ratio of people to people out.
    Missing  nan where nothing is expected or nobody measured; low is 0 where nobody is observed.
    Errors   ValueError for an observed count outside 0 to people.
    Source   Wilson (1927) J Am Stat Assoc 22:209-212; Breslow & Day (1987) ch. 2 for the ratio. Checked in
             tests/published/test_indirect_standardisation.py, by coverage in
             tests/benchmarks/coverage_of_standardised.py and coverage_of_sites.py.
    """
    people, expected = np.asarray(people, dtype=float), np.asarray(expected, dtype=float)
    scale = np.divide(people, expected, out=np.full(expected.shape, np.nan), where=expected > 0)
    low, high = wilson_interval(observed, people, confidence)
    return low * scale, high * scale
