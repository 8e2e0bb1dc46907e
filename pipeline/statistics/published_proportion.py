"""A proportion of all sites together as it is published: its interval, design effect and reliability."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.clustered_proportion import (
    ClusteredProportion,
    jackknifed_proportion,
    korn_graubard_interval,
)
from pipeline.statistics.proportion_interval import clopper_pearson_interval, wilson_interval
from pipeline.statistics.reliability import flag, nchs_reliability

Floats = NDArray[np.float64]

WILSON = "Wilson score interval"
ONE_SITE = "Wilson score interval; one site, so likeness within sites is not in it"
STEPS = 4  # a quarter; project's choice
_SLACK = 1e-9

_SCHEMA = {
    "low": pl.Float64,
    "high": pl.Float64,
    "design_effect": pl.Float64,
    "method": pl.String,
    "flag": pl.String,
}


def korn_graubard(sites: int) -> str:
    """The method column of an interval over so many sites."""
    return f"Korn-Graubard interval, {sites} sites as clusters, design effect rounded up to a quarter"


def proportions_of_all(count: ArrayLike, people: ArrayLike) -> pl.DataFrame:
    """Interval, design effect, method and flag of proportions of all sites together.

    The design effect is rounded up to a quarter before the interval is made of it. It is a sum of squares over sites:
    to the last digit it would give back the counts of two sites that are withheld. A quarter is within what sampling
    makes of it (two dozen sites: a third), and rounding up never narrows an interval.

    The degrees of freedom stand on the sizes of sites, some of which may be withheld: they are rounded down likewise.

    Shapes   count, people: (cells, sites); out: one row a cell with columns low, high, design_effect, method, flag.
    Units    people; low and high from 0 to 1.
    Missing  with one site the interval is Wilson's and design_effect null; it is null also at 0 and 1. A cell with
             nobody is an error of the caller.
    Errors   ValueError for a cell with nobody, or as clustered_proportion.
    Source   clustered_proportion: jackknifed_proportion, korn_graubard_interval; reliability.nchs_reliability. Checked
             against figures worked by hand in tests/statistics/test_published_proportion.py, by coverage in
             tests/benchmarks/coverage_of_proportions.py.
    """
    count, people = np.asarray(count, dtype=float), np.asarray(people, dtype=float)
    if count.shape[0] == 0:
        return pl.DataFrame(schema=_SCHEMA)
    if np.any(people.sum(axis=1) <= 0):
        raise ValueError(f"cell {int(np.argmin(people.sum(axis=1)))}: nobody measured")
    cells = coarse_proportion(count, people)
    low, high = korn_graubard_interval(cells)
    whole_count, whole = count.sum(axis=1), people.sum(axis=1)
    is_alone = cells.freedom < 1
    score_low, score_high = wilson_interval(whole_count, whole)
    reliable = np.where(
        is_alone, flags_of_simple(whole_count, whole), _flags_of_clustered(whole_count, cells, low, high)
    )
    methods = [ONE_SITE if k < 2 else korn_graubard(k) for k in (people > 0).sum(axis=1).tolist()]
    return pl.DataFrame(
        {
            "low": np.where(is_alone, score_low, low),
            "high": np.where(is_alone, score_high, high),
            "design_effect": cells.design_effect,
            "method": methods,
            "flag": reliable.tolist(),
        },
        schema=_SCHEMA,
    ).with_columns(pl.col("design_effect").fill_nan(None), pl.col("flag").replace("", None))


def coarse_proportion(count: ArrayLike, people: ArrayLike) -> ClusteredProportion:
    """jackknifed_proportion with the design effect rounded up, and the degrees of freedom down, to a quarter.

    Shapes   count, people: (cells, sites).
    """
    found = jackknifed_proportion(count, people)
    freedom = np.floor(found.freedom * STEPS + _SLACK) / STEPS
    return replace(found, design_effect=coarse_design_effect(found.design_effect), freedom=freedom)


def coarse_design_effect(design_effect: Floats) -> Floats:
    """Rounded up to a quarter; nan stays nan. A whole quarter stays, whatever the last bit of the arithmetic."""
    rounded = np.ceil(design_effect * STEPS - _SLACK) / STEPS
    return (
        rounded + 0.0
    )  # sites exactly alike: 0, not -0, under which people would be divided to minus infinity


def flags_of_simple(count: Floats, people: Floats) -> NDArray[np.str_]:
    """`unreliable` or nothing for people counted one by one, by the exact interval that the standard asks for.

    A programme's sites have far fewer different pairs of counts than cells: each pair is worked out once.

    Shapes   count, people, out: (cells,), whole numbers.   Source  reliability.nchs_reliability.
    """
    count, people = (np.asarray(a).astype(np.int64) for a in (count, people))
    width = int(count.max(initial=0)) + 1
    pairs, at = np.unique(people * width + count, return_inverse=True)
    n, x = (part.astype(float) for part in np.divmod(pairs, width))
    low, high = clopper_pearson_interval(x, n)
    return flag(nchs_reliability(x, n, n, low, high, np.inf)[0])[at]


def _flags_of_clustered(
    count: Floats, cells: ClusteredProportion, low: Floats, high: Floats
) -> NDArray[np.str_]:
    return flag(nchs_reliability(count, cells.people, cells.effective_people, low, high, cells.freedom)[0])


def site_matrices(whole: pl.DataFrame, by_site: pl.DataFrame, key: Sequence[str]) -> tuple[Floats, Floats]:
    """Counts and people of each site behind each cell of all sites.

    Shapes   whole: columns `key`, one row a cell; by_site: columns `key`, site, n, denominator;
             out: count and people, each (cells, sites), cells in the order of `whole`, sites by name.
    Missing  a site without a row in a cell has 0 people there. Rows of sites without a cell are left out.
    """
    sites = by_site.select("site").unique().sort("site").with_row_index("at")
    numbered = whole.select(key).with_row_index("cell")
    rows = by_site.join(numbered, on=list(key)).join(sites, on="site")
    count, people = np.zeros((2, whole.height, sites.height))
    cell, at = rows["cell"].to_numpy(), rows["at"].to_numpy()
    count[cell, at], people[cell, at] = rows["n"].to_numpy(), rows["denominator"].to_numpy()
    return count, people
