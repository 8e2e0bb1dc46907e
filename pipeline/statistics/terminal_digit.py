"""Whether the last printed digit of a reading prefers some digits: rounding by hand, or values made up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DigitPreference:
    """All (groups,): χ² on 9 degrees of freedom, its p, and the share of readings that would have to change digit."""

    people: Floats
    chi_square: Floats
    p: Floats
    dissimilarity: Floats


def digit_preference(counts: ArrayLike) -> DigitPreference:
    """χ² against ten equal shares, and dissimilarity ½Σ|p_d − 0.1|.

    Test values in the unit in which they were read: a conversion makes digits of its own.

    Shapes   counts: (groups, 10) or (10,).
    Units    counts of readings; dissimilarity from 0 (even) to 0.9 (one digit only).
    Missing  a group without readings is nan.
    Errors   ValueError unless there are ten counts of 0 or more a group.
    Source   Pearson's χ²; index of dissimilarity. Common practice in survey quality reports, no single source.
             Checked in tests/published/test_terminal_digits.py.
    """
    counts = np.atleast_2d(np.asarray(counts, dtype=float))
    if counts.shape[1] != 10 or np.any(counts < 0):
        raise ValueError("ten counts of 0 or more are expected, one a digit")
    n = counts.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = n[:, None] / 10
        chi_square = ((counts - expected) ** 2 / expected).sum(axis=1)
        dissimilarity = np.abs(counts / n[:, None] - 0.1).sum(axis=1) / 2
    return DigitPreference(
        n, chi_square, np.where(n > 0, chdtrc(9, np.nan_to_num(chi_square)), np.nan), dissimilarity
    )
