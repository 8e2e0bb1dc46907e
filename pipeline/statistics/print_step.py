"""Printed values → the values they stand for: a level of 7 is anything that rounds to 7."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.age_spline import distinct_ages

Floats = NDArray[np.float64]

PARTS = 5  # equal parts of a print step that take its people
MOST_CELLS = 20_000  # from there on neighbouring values are put together
MERGED = 0.05  # of the standard deviation: the widest merged cell
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
    if not is_coarse(value, n, step):
        return tuple(np.asarray(a, dtype=float) for a in (age, value, n))
    return in_equal_parts(age, value, n, step)


def is_coarse(value: ArrayLike, n: ArrayLike, step: float) -> bool:
    """Whether the step is coarse beside the spread of the values.

    Shapes   value, n: (cells,).   Missing  no cells, or a step of 0, is not coarse.
    Errors   ValueError for a step below 0.
    """
    if step < 0:
        raise ValueError(f"a print step of {step:g}: 0 or more is expected")
    value, n = np.asarray(value, dtype=float), np.asarray(n, dtype=float)
    if n.sum() <= 0:
        return False
    mean = n @ value / n.sum()
    return bool(step > COARSE * np.sqrt(n @ (value - mean) ** 2 / n.sum()))


def in_equal_parts(
    age: ArrayLike, value: ArrayLike, n: ArrayLike, step: float
) -> tuple[Floats, Floats, Floats]:
    """Each cell's people in PARTS equal parts over its step. Shapes: (cells,) → (PARTS·cells,)."""
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    shift = step * ((np.arange(PARTS) + 0.5) / PARTS - 0.5)
    return np.repeat(age, PARTS), (value[:, None] + shift).ravel(), np.repeat(n / PARTS, PARTS)


def part_below(value: ArrayLike, curves: ArrayLike, step: float) -> Floats:
    """The part of each printed value's step that lies below each curve, from 0 to 1.

    Shapes   value (cells,), curves (cells, percents) → (cells, percents).
    Units    value, curves and step in the measure's unit.
    """
    return np.clip((np.asarray(curves) - np.asarray(value)[:, None]) / step + 0.5, 0, 1)


def merged_steps(age: ArrayLike, steps: ArrayLike, n: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Cells with neighbouring values of an age put together at their mean, where cells are very many.

    A curve then takes as long to fit for ten million people as for a hundred thousand. A merged cell is at most MERGED
    of the standard deviation within ages wide: what it adds or takes away of the variance is under MERGED²/12, two in
    ten thousand.

    Shapes   (cells,) → (fewer cells,); up to MOST_CELLS cells stay as they are.
    Units    steps in whole print steps in, their mean out; n in people.
    Missing  no cells give no cells.
    """
    age, steps, n = (np.asarray(a, dtype=float) for a in (age, steps, n))
    if age.size <= MOST_CELLS:
        return age, steps, n
    ages, at = distinct_ages(age)
    people = np.bincount(at, n)
    mean = np.bincount(at, n * steps) / people
    width = int(MERGED * np.sqrt(n @ (steps - mean[at]) ** 2 / n.sum()))
    if width <= 1:
        return age, steps, n
    bins = np.floor(steps / width).astype(np.int64)
    bins -= bins.min()
    wide = int(bins.max()) + 1  # places of an age, most of them empty
    held = np.bincount(at * wide + bins, n)
    cells = np.flatnonzero(held)
    total = np.bincount(at * wide + bins, n * steps)
    return ages[cells // wide], total[cells] / held[cells], held[cells]
