"""Whether ages are reported with preferred last digits, allowing for there being fewer old people than young."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AgeHeaping:
    """index: 0 (no preference) to 90; percent: (10,) of the blended population at each last digit, 10 being even."""

    index: float
    percent: Floats


def myers_index(age: ArrayLike, n: ArrayLike) -> AgeHeaping:
    """Myers' blended index over ages 10 to 89.

    A_d counts ages 10–79 that end in d, B_d ages 20–89; the blend (d + 1)·A_d + (9 − d)·B_d gives every digit the
    same mean age; the index is ½Σ|percent_d − 10|.

    Shapes   age, n: (cells,).
    Units    age in whole years, n in people; index in percent of people.
    Missing  nan when nobody is aged 10 to 89.
    Errors   ValueError for an age that is not whole.
    Source   Myers (1940) Trans Actuar Soc Am 41:395-415; Shryock & Siegel, The Methods and Materials of Demography.
             From memory. Checked in tests/published/test_terminal_digits.py.
    """
    age, n = np.asarray(age, dtype=float), np.asarray(n, dtype=float)
    if np.any(age != np.floor(age)):
        raise ValueError("ages in whole years are expected")
    digit = age.astype(np.int64) % 10
    first = np.bincount(digit, n * ((age >= 10) & (age <= 79)), 10)
    second = np.bincount(digit, n * ((age >= 20) & (age <= 89)), 10)
    d = np.arange(10)
    blended = (d + 1) * first + (9 - d) * second
    total = blended.sum()
    percent = 100 * blended / total if total > 0 else np.full(10, np.nan)
    return AgeHeaping(float(np.abs(percent - 10).sum() / 2), percent)
