"""The strata of direct standardisation: which age groups, what each weighs, and which are merged for few people."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.measures import Banding
from pipeline.statistics.age_group import AgeGroups, ages_reported
from pipeline.statistics.standard_population import standard_weights

Floats = NDArray[np.float64]
Total = tuple[int, int]

LEAST_IN_STRATUM = 10  # people of each sex in an age group that stands alone; project's choice


def standardised_groups(
    banding: Banding, age_groups: AgeGroups, age_totals: AgeGroups
) -> list[tuple[Total, list[Total]]]:
    """The age totals in which a banding is standardised, each with its strata: the age groups inside, narrowed to
    the ages of the banding."""
    reported = ages_reported([*age_groups, *age_totals], banding.age_from, banding.age_to)
    found = []
    for total in reported:
        if total in age_totals:
            inside = [g for g in sorted(age_groups) if total[0] <= g[0] and g[1] <= total[1]]
            strata = [(a, min(b, banding.age_to)) for a, b in inside if a <= banding.age_to]
            if len(strata) > 1:
                found.append((total, strata))
    return found


def group_weights(bands: pl.DataFrame, groups: Sequence[Total]) -> Floats:
    """The share of the standard population in each age group, adding to 1 over them.

    Shapes   bands: columns standard, age_band, weight, of one standard; groups: (groups,) of first and last age;
             out: (groups,).
    Errors   ValueError for a band that an age group would split, for ages in no band or in two, or no weight at all.
    """
    standard = bands["standard"][0]
    whole = standard_weights(bands, standard, groups[0][0], groups[-1][1])
    edges = whole.select("age_from", "age_to").rows()
    following = [groups[0][0], *(b + 1 for _, b in edges)]
    for start, (low, _) in zip(following, edges, strict=False):
        if low != start:
            raise ValueError(f"age {min(low, start)} stands in no band or in two: each age is in one")
    if following[-1] <= groups[-1][1]:
        raise ValueError(f"age {following[-1]} stands in no band: each age is in one")
    weight = []
    for low, high in groups:
        split = [(a, b) for a, b in edges if a <= high and b >= low and not (low <= a and b <= high)]
        if split:
            a, b = split[0]
            raise ValueError(f"the age group {low} to {high} would split its band {a}-{b}")
        weight.append(whole.filter(pl.col("age_from").is_between(low, high))["weight"].sum())
    if not sum(weight) > 0:
        raise ValueError("its weights add to 0 over these ages")
    return np.array(weight)


def weights_of_narrowed(bands: pl.DataFrame, total: Total, groups: Sequence[Total]) -> Floats | None:
    """group_weights, or None where it is the banding's own last age, not the settings, that would split a band."""
    try:
        return group_weights(bands, groups)
    except ValueError:
        if groups[-1][1] < total[1]:
            return None
        raise


def merged_strata(people: Floats) -> NDArray[np.int64] | None:
    """blocks_of_strata of one cell. Shapes: (sexes, strata) → (strata,); None where a sex has too few people."""
    block = blocks_of_strata(people[None])[0]
    return None if block[0] < 0 else block


def blocks_of_strata(people: Floats) -> NDArray[np.int64]:
    """The number of the merged stratum that each age group belongs to, youngest first.

    Shapes   people: (cells, sexes, strata); out: (cells, strata).
    Missing  -1 throughout a cell where a sex has under LEAST_IN_STRATUM people in all.
    """
    cells, sexes, strata = people.shape
    block, last = np.empty((cells, strata), dtype=np.int64), np.zeros(cells, dtype=np.int64)
    gathered = np.zeros((cells, sexes))
    for i in range(strata - 1, -1, -1):
        gathered += people[:, :, i]
        block[:, i] = last
        is_full = np.all(gathered >= LEAST_IN_STRATUM, axis=1)
        last += is_full
        gathered[is_full] = 0
    block = np.minimum(block, last[:, None] - 1)  # what is left at the youngest end joins the next older
    return np.where(last[:, None] > 0, block.max(axis=1, keepdims=True) - block, -1)
