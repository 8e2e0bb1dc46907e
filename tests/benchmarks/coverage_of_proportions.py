"""Coverage of the intervals of prevalence: Wilson, Clopper–Pearson, and Korn–Graubard over sites.

`python tests/benchmarks/coverage_of_proportions.py` draws programmes whose true shares are known. A site's own share
is that of whoever could come to the site; the share of all sites is that of people at all possible sites.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from clustered_people import site_shares, site_sizes
from coverage_table import Row, covering, simulated, table, write_page

from pipeline.statistics.proportion_interval import clopper_pearson_interval, wilson_interval
from pipeline.statistics.published_proportion import proportions_of_all

REPLICATES = 10_000


@dataclass(frozen=True)
class OneSite:
    """People counted one by one; `together` of them come as a group, alike by icc, which no file says."""

    people: int
    share: float
    together: int = 1
    icc: float = 0.0

    @property
    def title(self) -> str:
        groups = (
            f", who come in groups of {self.together} (correlation {self.icc:g})" if self.together > 1 else ""
        )
        return f"{self.people:,} people, {100 * self.share:g} %{groups}"


@dataclass(frozen=True)
class AllSites:
    """`sites` sites of median `people`, log-normal with `spread`; the first may hold a share `largest` of all."""

    sites: int
    people: int
    share: float
    icc: float
    spread: float = 0.6
    largest: float = 0.0

    @property
    def title(self) -> str:
        sizes = "alike in size" if not self.spread else f"log sd of size {self.spread:g}"
        if self.largest:
            sizes = f"one with {100 * self.largest:g} % of the people"
        return (
            f"{self.sites} sites of {self.people}, {sizes}; {100 * self.share:g} %, correlation {self.icc:g}"
        )


ONE_SITE = (
    OneSite(30, 0.1),
    OneSite(30, 0.5),
    OneSite(100, 0.02),
    OneSite(100, 0.1),
    OneSite(1000, 0.02),
    OneSite(1000, 0.25),
    OneSite(400, 0.25, together=4, icc=0.3),
)
ALL_SITES = (
    AllSites(24, 250, 0.25, 0.0),
    AllSites(24, 250, 0.25, 0.005),
    AllSites(24, 250, 0.25, 0.02),
    AllSites(24, 250, 0.25, 0.1),
    AllSites(24, 250, 0.03, 0.02),
    AllSites(24, 250, 0.25, 0.02, spread=0.0),
    AllSites(24, 250, 0.25, 0.02, spread=1.2),
    AllSites(24, 250, 0.25, 0.05, largest=0.5),
    AllSites(24, 250, 0.03, 0.05, largest=0.5),
    AllSites(100, 250, 0.25, 0.02),
    AllSites(8, 250, 0.25, 0.02),
    AllSites(4, 250, 0.25, 0.0),
    AllSites(4, 250, 0.25, 0.02, spread=0.0),
    AllSites(4, 250, 0.25, 0.02),
    AllSites(4, 250, 0.03, 0.02),
    AllSites(2, 250, 0.25, 0.02),
    AllSites(12, 250, 0.25, 0.05, largest=0.8),
)


def one_site(scenario: OneSite, random: np.random.Generator) -> list[Row]:
    groups = scenario.people // scenario.together
    own = site_shares(random, scenario.share, scenario.icc, (REPLICATES, groups))
    count = random.binomial(scenario.together, own).sum(axis=1)
    people = np.full(REPLICATES, groups * scenario.together)
    return [
        covering(name, scenario.title, *interval(count, people), scenario.share)
        for name, interval in (
            ("Wilson, a site's share", wilson_interval),
            ("Clopper–Pearson, which decides on `unreliable`", clopper_pearson_interval),
        )
    ]


def all_sites(scenario: AllSites, random: np.random.Generator) -> list[Row]:
    people = site_sizes(
        random, (REPLICATES, scenario.sites), scenario.people, scenario.spread, scenario.largest
    )
    count = random.binomial(people, site_shares(random, scenario.share, scenario.icc, people.shape))
    found = proportions_of_all(count, people)
    low, high = (found[name].to_numpy() for name in ("low", "high"))
    return [covering("Korn–Graubard, share of all sites", scenario.title, low, high, scenario.share)]


HOW = (
    f"{REPLICATES:,} programmes a setting. Sites' log-normal sizes have the median named; correlation is that of two "
    "people of a site."
)
READING = """## How to read it

- A site's own share estimates that of whoever could come to the site. Where people come in groups that no file
  names (families, teams), Wilson's interval cannot know it and is short: nothing in the readings tells who came
  together.
- Wilson's interval is right on average over shares, not at each: at 2 or 10 % it lies a point or two to either
  side, which is its nature (Brown, Cai & DasGupta 2001). Clopper–Pearson is never short, and wide.
- Of all sites, the jackknife over sites, its fewer degrees of freedom, and a design effect rounded up to a quarter.
  With Taylor's linearisation and sites − 1 degrees, as before, one site with half of the people left 77 % for 95 %,
  one with four fifths 26 %, and sites whose sizes have a log sd of 1.2 left 89 %.
- With two to four sites the interval is nearly as wide as can be: so few sites do not tell how much sites differ.
"""


def main() -> None:
    rows = simulated(ONE_SITE, one_site) + simulated(ALL_SITES, all_sites)
    write_page("coverage_of_proportions", "Prevalence: coverage of intervals", HOW, table(rows), READING)


if __name__ == "__main__":
    main()
