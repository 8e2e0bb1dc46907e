"""The share of people below each age curve, beside the share that should be."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import ArrayLike

from pipeline.statistics.age_group import AgeGroups
from pipeline.statistics.print_step import part_below
from pipeline.statistics.proportion_interval import wilson_interval

_SCHEMA = {
    "age_from": pl.Int16,
    "age_to": pl.Int16,
    "percent": pl.Float64,
    "n": pl.Int64,
    "expected": pl.Float64,
    "observed": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
}


def share_below(
    age: ArrayLike,
    value: ArrayLike,
    n: ArrayLike,
    curves: ArrayLike,
    percents: ArrayLike,
    age_groups: AgeGroups,
    step: float,
) -> pl.DataFrame:
    """Observed share below each curve by age group, with its score interval.

    A printed value stands for the whole of its print step: where a curve runs through the step, the part of the
    step below the curve counts as below.

    Shapes   age, value, n: (cells,); curves: (cells, percents), each curve at the cell's age; out: one row an age
             group and percent with columns age_from, age_to, percent, n, expected, observed, low, high.
    Units    value, curves and step (the print resolution) in the measure's unit; shares from 0 to 1.
    Missing  an age group without people has no rows.
    Errors   ValueError for a step that is not above 0.
    Source   interval: proportion_interval.wilson_interval.
    """
    if step <= 0:
        raise ValueError(f"a print step of {step:g}: a resolution above 0 is expected")
    age, value, n, curves = (np.asarray(a, dtype=float) for a in (age, value, n, curves))
    percents = np.atleast_1d(np.asarray(percents, dtype=float))
    below_curve = part_below(value, curves, step)
    rows: list[tuple] = []
    for age_from, age_to in age_groups:
        here = (age >= age_from) & (age <= age_to)
        people = n[here].sum()
        if people > 0:
            below = np.clip(n[here] @ below_curve[here], 0, people)
            low, high = wilson_interval(below, np.full(below.size, people))
            rows += [
                (age_from, age_to, percent, round(people), percent / 100, *shares)
                for percent, *shares in zip(percents.tolist(), below / people, low, high, strict=True)
            ]
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row")
