"""How many people drawn one by one tell as much of a percentile as people who come in sites.

A percentile of all sites is as uncertain as the share of people below it, which sites make more uncertain than people
drawn one by one. Its limits are the order statistics of so many fewer people.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.clustered_proportion import korn_graubard_people
from pipeline.statistics.published_proportion import coarse_proportion

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class SitesBelow:
    """Of each site, its people at or below each percentile of all sites, and its people.

    below: one (populations, percents) a site; people: one (populations,) a site.
    """

    below: Sequence[Integers]
    people: Sequence[Integers]

    @property
    def clusters(self) -> Integers:
        """Sites with anybody in each population. Shape (populations,)."""
        return (np.array(self.people) > 0).sum(axis=0)

    def effective_people(self, percents: ArrayLike) -> Floats:
        """Effective sample size at each percentile, as of the Korn–Graubard interval of the share below it.

        Shapes   percents: (percents,); out: (populations, percents).
        Units    people; the design effect rounded up, the degrees of freedom down, to a quarter.
        Missing  all people where only one site has any, and where everybody lies at or below the value.
        Source   Woodruff (1952) J Am Stat Assoc 47:635-646 for limits from those of the share; clustered_proportion.
        """
        people = np.array(self.people, dtype=float).T
        found = np.empty((people.shape[0], np.size(percents)))
        for k in range(found.shape[1]):
            below = np.array([of_site[:, k] for of_site in self.below], dtype=float).T
            effective = korn_graubard_people(coarse_proportion(below, people))
            found[:, k] = np.where(np.isfinite(effective), effective, people.sum(axis=1))
        return found
