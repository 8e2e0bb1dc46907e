"""Coverage of the odds ratio of a trend, with people seen again and again and sites that go their own way.

`python tests/benchmarks/coverage_of_trends.py` draws whether a person is in the band from a normal score made of the
site, the site in that period, the person, and chance, cut so that the share in each stratum and period is exactly that
of a logistic trend: the true odds ratio of people at all possible sites is known, however alike they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from clustered_people import site_sizes
from coverage_table import Row, covering, simulated, table, write_page
from scipy.special import expit, logit, ndtri

from pipeline.statistics.trend import trend_over_periods

REPLICATES = 1_000
STRATA = 4
SLOPE = 0.05  # of the log-odds a period


@dataclass(frozen=True)
class Programme:
    """Sites of median `people`, each seen in a period with probability `seen`; parts of the score's variance."""

    title: str
    sites: int = 24
    people: int = 200
    share: float = 0.25
    periods: int = 8
    seen: float = 0.5
    person: float = 0.8
    site: float = 0.02
    site_period: float = 0.0
    spread: float = 0.6
    largest: float = 0.0


SCENARIOS = (
    Programme("24 sites, 8 periods, everybody once", seen=0.125, person=0.0, site=0.0),
    Programme("24 sites, 8 periods, people seen in half of them"),
    Programme("the same, sites also move from period to period", site_period=0.005),
    Programme("the same, 3 % in the band", share=0.03, site_period=0.005),
    Programme("24 sites of very unequal size (log sd 1.2)", spread=1.2, site_period=0.005),
    Programme("24 sites, one with half of the people", largest=0.5, site_period=0.005),
    Programme("6 sites, 8 periods", sites=6, site_period=0.005),
    Programme("4 sites, 4 periods", sites=4, periods=4, site_period=0.005),
    Programme("24 sites, 2 periods", periods=2, site_period=0.005),
)


def simulate(scenario: Programme, random: np.random.Generator) -> list[Row]:
    low, high = np.full((2, REPLICATES), np.nan)
    for i in range(REPLICATES):
        cells = _cells(scenario, random)
        try:
            found = trend_over_periods(*cells)
        except ValueError:  # the band is empty before, or full after, some period: nothing is published
            continue
        low[i], high[i] = found.low, found.high
    return [covering("odds ratio a period", scenario.title, low, high, np.exp(SLOPE))]


def _cells(scenario: Programme, random: np.random.Generator) -> tuple[np.ndarray, ...]:
    """count, people, period, site, stratum of each cell, as the band tally has them."""
    size = site_sizes(random, (scenario.sites,), scenario.people, scenario.spread, scenario.largest)
    site = np.repeat(np.arange(scenario.sites), size)
    stratum = random.integers(STRATA, size=site.size)
    periods = np.arange(scenario.periods)
    score = np.sqrt(scenario.site) * random.standard_normal(scenario.sites)[site][:, None]
    own = random.standard_normal((scenario.sites, scenario.periods))
    score = score + np.sqrt(scenario.site_period) * own[site]
    score = score + np.sqrt(scenario.person) * random.standard_normal((site.size, 1))
    rest = 1 - scenario.site - scenario.site_period - scenario.person
    score = score + np.sqrt(rest) * random.standard_normal(score.shape)
    level = logit(scenario.share) + np.linspace(-0.5, 0.5, STRATA)
    share = expit(level[:, None] + SLOPE * (periods - periods.mean()))
    is_in = score < ndtri(share)[stratum]
    is_seen = random.random(score.shape) < scenario.seen
    shape = (scenario.sites, STRATA, scenario.periods)
    cell = ((site * STRATA + stratum)[:, None] * scenario.periods + periods).ravel()
    people = np.bincount(cell, is_seen.ravel(), np.prod(shape))
    count = np.bincount(cell, (is_seen & is_in).ravel(), np.prod(shape))
    of_site, of_stratum, period = (part.ravel() for part in np.indices(shape))
    return count, people, period, of_site, of_stratum


HOW = (
    f"{REPLICATES:,} programmes a setting, {STRATA} strata, a true odds ratio of exp({SLOPE:g}) a period. Unless it "
    "says otherwise people are alike over periods (correlation of their scores 0.8) and within sites (0.02), 200 each."
)
READING = """## How to read it

- The truth is that of people at all possible sites, whatever their likeness within a site, a period or a person.
- With few sites, or one that holds half of the people, the interval is wide rather than short.
- Programmes in which no trend can be estimated publish none and do not count.
"""


def main() -> None:
    rows = simulated(SCENARIOS, simulate)
    write_page("coverage_of_trends", "Trends: coverage of the odds ratio", HOW, table(rows), READING)


if __name__ == "__main__":
    main()
