"""WHO Reference 2007 z-scores of body mass index, with the published adjustment beyond ±3 standard deviations.

sql/01_macros_bands.sql does the same for every reading; this is the function for one value, both directions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.box_cox_cole_green import value_at_z, z_score

Floats = NDArray[np.float64]

LAST_MONTH = 228  # the table ends on the 19th birthday, and that row stands for all of age 19


def month_of(age: int) -> int:
    """The month of the table that stands for a whole year of age: its middle. Units: years in, months out."""
    return min(12 * age + 6, LAST_MONTH)


def adjusted_z(value: ArrayLike, l: ArrayLike, m: ArrayLike, s: ArrayLike) -> Floats:
    """z-scores: ((value/M)^L − 1)/(L·S), and beyond ±3 as many steps of the width between 2 and 3 as it lies outside.

    Shapes   all broadcast together.
    Units    value and M in kg/m².
    Missing, Errors   as z_score.
    Source   de Onis et al., Bull World Health Organ 2007;85:660-7. Checked in tests/published/test_who_2007_z.py.
    """
    raw = z_score(value, l, m, s)
    value = np.asarray(value, dtype=float)
    two, three, low_two, low_three = (value_at_z(z, l, m, s) for z in (2, 3, -2, -3))
    above, below = 3 + (value - three) / (three - two), -3 + (value - low_three) / (low_two - low_three)
    return np.select([raw > 3, raw < -3], [above, below], raw)


def value_at_adjusted_z(z: ArrayLike, l: ArrayLike, m: ArrayLike, s: ArrayLike) -> Floats:
    """The value at a z-score of adjusted_z. Shapes, Units, Missing, Errors, Source: as adjusted_z."""
    z = np.asarray(z, dtype=float)
    two, three, low_two, low_three = (value_at_z(edge, l, m, s) for edge in (2, 3, -2, -3))
    above, below = three + (z - 3) * (three - two), low_three + (z + 3) * (low_two - low_three)
    return np.select([z > 3, z < -3], [above, below], value_at_z(np.clip(z, -3, 3), l, m, s))
