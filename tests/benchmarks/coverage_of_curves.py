"""Coverage of the bands of the smooth curves, and of the intervals of their diagnostics.

`python tests/benchmarks/coverage_of_curves.py` draws programmes of sites from a distribution inside the family, fits
LMS curves and asks how often each band holds the true curve. People of a site are alike in their normal score, so the
distribution over all possible sites stays exactly what it was drawn from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from clustered_people import site_normals, site_sizes
from coverage_table import Row, covering, simulated, table, write_page
from known_curves import INSIDE, STEP, counted, inside_lms
from scipy.special import ndtr, ndtri

from pipeline.statistics.box_cox_cole_green import z_score
from pipeline.statistics.curve_coverage import people_below, share_below
from pipeline.statistics.lms import LmsFit, NoConvergence, fit_lms
from pipeline.statistics.lms_band import percentile_band, sandwich_covariance, site_part
from pipeline.statistics.q_statistics import MOMENTS, q_statistics
from pipeline.statistics.worm_plot import worm_plot

REPLICATES = 1_000
AGES = (20, 69)
INNER, EDGE = np.arange(25, 66, 5), np.array([20, 21, 68, 69])
PERCENTS = np.array([3, 10, 50, 90, 97])
WORM_SCORES = 1.5
GROUPS = [(20, 29), (30, 39), (40, 49), (50, 59), (60, 69)]


@dataclass(frozen=True)
class Programme:
    title: str
    sites: int
    people: int
    icc: float
    spread: float = 0.6
    largest: float = 0.0


SCENARIOS = (
    Programme("24 sites of 60, people independent", 24, 60, 0.0),
    Programme("24 sites of 60, correlation 0.05", 24, 60, 0.05),
    Programme("24 sites of 60, very unequal (log sd 1.2), correlation 0.05", 24, 60, 0.05, spread=1.2),
    Programme("24 sites of 40, one with half of the people, correlation 0.05", 24, 40, 0.05, largest=0.5),
    Programme("6 sites of 250, correlation 0.05", 6, 250, 0.05),
)


def simulate(scenario: Programme, random: np.random.Generator) -> list[Row]:
    bands, shares, worms, scores = [], [], [], []
    for _ in range(REPLICATES):
        sites = _sites(scenario, random)
        age, value, n = (np.concatenate(parts) for parts in zip(*sites, strict=True))
        try:
            fit = fit_lms(age, value, n)
        except NoConvergence:  # regression quantiles are then published, without a band
            continue
        covariance, freedom = sandwich_covariance(fit, [site_part(fit, *site) for site in sites])
        ages = np.concatenate([INNER, EDGE])
        bands.append(percentile_band(fit, covariance, ages, PERCENTS, freedom))
        shares.append(_shares(fit, sites))
        z = fit.z_score(age, value)
        worms.append(_worm(age, z, n))
        scores.append(q_statistics(age, z, n, GROUPS).groups.select(MOMENTS).to_numpy().ravel())
    return _rows(scenario, *(np.array(part) for part in (bands, shares, worms, scores)))


def _sites(scenario: Programme, random: np.random.Generator) -> list[tuple[np.ndarray, ...]]:
    size = site_sizes(random, (scenario.sites,), scenario.people, scenario.spread, scenario.largest)
    found = []
    for z in site_normals(random, scenario.icc, size):
        age = random.integers(AGES[0], AGES[1] + 1, z.size).astype(float)
        found.append(counted(age, INSIDE.value_at(z, age)))
    return found


def _shares(fit: LmsFit, sites: list[tuple[np.ndarray, ...]]) -> np.ndarray:
    """low, high and the true share below the fitted curves, each by age group and percent. (3, groups · percents)"""
    below = [
        people_below(age, value, n, fit.value_at(age, PERCENTS), GROUPS, STEP) for age, value, n in sites
    ]
    found = share_below(below, PERCENTS, GROUPS)
    age, _, n = (np.concatenate(parts) for parts in zip(*sites, strict=True))
    share = ndtr(z_score(fit.value_at(age, PERCENTS), *(part[:, None] for part in inside_lms(age))))
    truth = []
    for low, high in GROUPS:
        here = (age >= low) & (age <= high)
        truth.append(n[here] @ share[here] / n[here].sum())
    return np.array([found["low"], found["high"], np.ravel(truth)])


def _worm(age: np.ndarray, z: np.ndarray, n: np.ndarray) -> np.ndarray:
    """low, high and the deviation at scores from −1.5 to 1.5, which every group has. (3, groups · scores)"""
    found = worm_plot(age, z, n, GROUPS).filter(pl.col("score").abs() <= WORM_SCORES)
    return found.select("low", "high", "deviation").to_numpy().T


def _rows(
    scenario: Programme, bands: np.ndarray, shares: np.ndarray, worms: np.ndarray, scores: np.ndarray
) -> list[Row]:
    truth = INSIDE.curves(np.concatenate([INNER, EDGE]), PERCENTS)
    low, high = bands[:, 0], bands[:, 1]
    inner = slice(None, INNER.size)
    outer = slice(INNER.size, None)
    edge = ndtri(0.975)
    return [
        covering(
            "band of the curves, inner ages", scenario.title, low[:, inner], high[:, inner], truth[inner]
        ),
        covering(
            "band of the curves, edge ages", scenario.title, low[:, outer], high[:, outer], truth[outer]
        ),
        covering("share below a curve", scenario.title, *shares.transpose(1, 0, 2)),
        covering("worm of a true family (band of a good fit)", scenario.title, *worms.transpose(1, 0, 2)),
        covering("moments of a true family (±1.96)", scenario.title, -edge, edge, scores),
    ]


HOW = (
    f"{REPLICATES:,} programmes a setting, one sex, ages {AGES[0]} to {AGES[1]}; curves at percentiles 3, 10, 50, "
    "90 and 97, inner ages 25 to 65 in fives, edge ages 20, 21, 68 and 69. Correlation is that of two people's normal "
    "scores. The gate between the methods is not run: inside the family it keeps LMS (recovery_of_curves.md)."
)
READING = """## How to read it

- Bands are pointwise, and hold the true curve 95 times in 100 on average over inner ages. At the edges, where a
  penalised curve is drawn towards a straight line and has people on one side only, they fall a few points short:
  the penalty's share of the variance is an average over ages, and the smoothing itself is estimated. Few sites or
  one large one make bands wide rather than short.
- Before, the bands held no more than the spread between sites: in 100 replicates 92 % inside and 90 % at the edges
  with people independent, 81 % with one site of half of the people.
- The share below a curve estimates the share of people at all possible sites below the curve that was drawn. Its
  interval takes the curve as given, though it was fitted to the same people, so it is wide where sites do not
  differ.
- Worm and moments are no intervals of a value but the spread of a good fit: the true family lies inside more than
  95 times in 100, because the curves were fitted to the same people. A point outside says more than one in 20.
- Replicates short of the number asked for, if any, did not converge and would publish regression quantiles with their
  own band.
"""


def main() -> None:
    rows = simulated(SCENARIOS, simulate)
    write_page(
        "coverage_of_curves", "Smooth curves: coverage of bands and diagnostics", HOW, table(rows), READING
    )


if __name__ == "__main__":
    main()
