"""The share of people below each age curve, beside the share that should be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.age_group import AgeGroups
from pipeline.statistics.print_step import part_below
from pipeline.statistics.published_proportion import proportions_of_all

Floats = NDArray[np.float64]

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


@dataclass(frozen=True)
class PeopleBelow:
    """People of one site, or of all, below each curve: count (groups, percents) of people (groups,)."""

    count: Floats
    people: Floats


def people_below(
    age: ArrayLike, value: ArrayLike, n: ArrayLike, curves: ArrayLike, age_groups: AgeGroups, step: float
) -> PeopleBelow:
    """How many people of each age group lie below each curve.

    A printed value stands for the whole of its print step: where a curve runs through the step, the part of the
    step below the curve counts as below.

    Shapes   age, value, n: (cells,); curves: (cells, percents), each curve at the cell's age.
    Units    value, curves and step (the print resolution) in the measure's unit.
    Errors   ValueError for a step that is not above 0.
    """
    if step <= 0:
        raise ValueError(f"a print step of {step:g}: a resolution above 0 is expected")
    age, value, n, curves = (np.asarray(a, dtype=float) for a in (age, value, n, curves))
    weight = np.array([np.where((age >= low) & (age <= high), n, 0) for low, high in age_groups])
    people = weight.sum(axis=1)
    return PeopleBelow(np.clip(weight @ part_below(value, curves, step), 0, people[:, None]), people)


def below_in_groups(ages: Floats, people: Floats, below: Floats, age_groups: AgeGroups) -> PeopleBelow:
    """people_below from sums by age. Shapes: ages, people (ages,); below (ages, percents): people, in parts."""
    low, high = np.asarray(age_groups, dtype=float).reshape(-1, 2, 1).swapaxes(0, 1)
    is_in = ((ages >= low) & (ages <= high)).astype(float)
    total = is_in @ people
    return PeopleBelow(np.clip(is_in @ below, 0, total[:, None]), total)


def share_below(sites: Sequence[PeopleBelow], percents: ArrayLike, age_groups: AgeGroups) -> pl.DataFrame:
    """Observed share below each curve by age group, beside the share that should be, with its interval.

    Shapes   sites: one of each site, or one of everybody; out: one row an age group and percent with columns
             age_from, age_to, percent, n, expected, observed, low, high.
    Units    shares from 0 to 1.
    Missing  an age group without people has no rows. With one site the interval is Wilson's.
    Source   interval: published_proportion.proportions_of_all. That the curves were fitted to the same people is not
             in it. Checked by coverage in tests/benchmarks/coverage_of_curves.py.
    """
    percents = np.atleast_1d(np.asarray(percents, dtype=float))
    people = np.array([site.people for site in sites])
    held = np.flatnonzero(people.sum(axis=0) > 0)
    if not held.size:
        return pl.DataFrame(schema=_SCHEMA)
    cell, percent = np.repeat(held, percents.size), np.tile(percents, held.size)
    count = np.array([site.count[held].ravel() for site in sites])
    intervals = proportions_of_all(count.T, people[:, cell].T)
    whole = people[:, cell].sum(axis=0)
    ends = np.asarray(age_groups)[cell]
    return pl.DataFrame(
        {
            "age_from": ends[:, 0],
            "age_to": ends[:, 1],
            "percent": percent,
            "n": np.rint(whole).astype(np.int64),
            "expected": percent / 100,
            "observed": count.sum(axis=0) / whole,
            "low": intervals["low"],
            "high": intervals["high"],
        },
        schema=_SCHEMA,
    )
