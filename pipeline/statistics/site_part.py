"""A site's part of curves fitted to all sites together: what the spread between sites is read from.

It follows from sums over the site's people by age (SumsByAge), which take as long to work with for a million people as
for a hundred.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SitePart:
    """score: of the gradient at the fit, (3·size,) of LMS curves, (percents, size) of regression quantiles;
    people (ages,): whom the site has at each age."""

    score: Floats
    ages: Floats
    people: Floats


@dataclass(frozen=True)
class SumsByAge:
    """What curves say of a site's people, added up by age, ages ascending.

    people (ages,); below (ages, percents): people below each published curve, one whose print step the curve cuts in
    part; gradient (ages, parts): the sums of what the method's site_part is made of.
    """

    ages: Floats
    people: Floats
    below: Floats
    gradient: Floats


def people_by_age(parts: Sequence[SitePart]) -> tuple[Floats, Floats]:
    """The ages that any site has, and the people of each site at them. Shapes: (ages,), (sites, ages)."""
    ages = np.unique(np.concatenate([part.ages for part in parts]))
    people = np.zeros((len(parts), ages.size))
    for k, part in enumerate(parts):
        people[k, np.searchsorted(ages, part.ages)] = part.people
    return ages, people
