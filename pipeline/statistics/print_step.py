"""Printed values → the values they stand for: a level of 7 is anything that rounds to 7."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

PARTS = 5  # equal parts of a print step that take its people
COARSE = 0.10  # steps finer than this share of the standard deviation are left as they are


def spread_over_step(
    age: ArrayLike, value: ArrayLike, n: ArrayLike, step: float
) -> tuple[Floats, Floats, Floats]:
    """Each cell's people in equal parts over its print step, where the step is coarse beside the measure's spread.

    A curve fitted to coarse values climbs in stairs, and its distance from another curve measures the stairs.

    Shapes   age, value, n: (cells,) → (cells or PARTS·cells,).
    Units    step and value in the measure's unit.
    Missing  no cells give no cells; a step of 0 changes nothing.
    Errors   ValueError for a step below 0.
    Source   quantiles of counts after uniform spreading: Machado & Santos Silva (2005) JASA 100:1226-1237; here by
             equal parts in place of random noise, so that the same tallies give the same curve.
    """
    if step < 0:
        raise ValueError(f"a print step of {step:g}: 0 or more is expected")
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    if n.sum() <= 0:
        return age, value, n
    mean = n @ value / n.sum()
    if step <= COARSE * np.sqrt(n @ (value - mean) ** 2 / n.sum()):
        return age, value, n
    shift = step * ((np.arange(PARTS) + 0.5) / PARTS - 0.5)
    return np.repeat(age, PARTS), (value[:, None] + shift).ravel(), np.repeat(n / PARTS, PARTS)
