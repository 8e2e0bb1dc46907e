"""A proportion of people who come in clusters: variance between sites, design effect, and its interval.

People of one site are more alike than people at large, and one person seen in several periods stays at a site as a
rule. Taking sites as primary sampling units puts both into the variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from pipeline.statistics.proportion_interval import clopper_pearson_interval

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ClusteredProportion:
    """All (cells,): proportion, people, its linearised variance, degrees of freedom, design effect."""

    proportion: Floats
    people: Floats
    variance: Floats
    freedom: Floats
    design_effect: Floats

    @property
    def effective_people(self) -> Floats:
        """People of a simple sample with the same variance, never more than there are; all of them at 0 and 1."""
        with np.errstate(divide="ignore", invalid="ignore"):
            effective = self.people / self.design_effect
        is_certain = (self.proportion == 0) | (self.proportion == 1)
        return np.where(is_certain, self.people, np.minimum(self.people, effective))


def clustered_proportion(count: ArrayLike, people: ArrayLike) -> ClusteredProportion:
    """Taylor-linearised variance of a proportion over sites of unequal size.

    v = K/(K − 1) · Σ_k u_k² / n², u_k = x_k − p·n_k, over the K sites with anybody in the cell; df = K − 1.

    Shapes   count, people: (cells, sites) or (sites,) for one cell.
    Units    people; proportion from 0 to 1. Design effect is v over p(1 − p)/n.
    Missing  a cell with nobody has proportion nan; with fewer than two sites variance and design effect are nan.
             At a proportion of 0 or 1 the variance is 0 and the design effect nan.
    Errors   ValueError when a site counts more people in the band than were measured.
    Source   Korn & Graubard, Analysis of Health Surveys (1999) ch. 2 and 5; Kish (1965) for the design effect.
             Checked in tests/published/test_korn_graubard.py.
    """
    count, people = (
        np.atleast_2d(np.asarray(count, dtype=float)),
        np.atleast_2d(np.asarray(people, dtype=float)),
    )
    if np.any((count < 0) | (count > people)):
        cell, site = np.argwhere((count < 0) | (count > people))[0]
        raise ValueError(
            f"cell {cell}, site {site}: {count[cell, site]:g} in the band of {people[cell, site]:g} measured"
        )
    n, sites = people.sum(axis=1), (people > 0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        p = count.sum(axis=1) / n
        away = count - p[:, None] * people
        variance = np.where(sites >= 2, sites / (sites - 1) * (away**2).sum(axis=1) / n**2, np.nan)
        simple = p * (1 - p) / n
        design_effect = np.where(simple > 0, variance / simple, np.nan)
    return ClusteredProportion(p, n, variance, np.maximum(sites - 1.0, 0), design_effect)


def jackknifed_proportion(count: ArrayLike, people: ArrayLike) -> ClusteredProportion:
    """clustered_proportion by leaving out a site at a time: it holds where sites are of very unequal size.

    v = (K − 1)/K · Σ_k (p − p₋ₖ)², p − p₋ₖ = u_k/(n − n_k): Taylor's with sites alike in size. A site that holds half
    of the people has pulled the mean to itself, and Taylor's u_k is small just where it should be large: with one such
    site of 24, intervals said to cover 95 % covered 77 %. df = (Σn)²/Σn² − 1, at least 1: sites − 1 when they are alike
    in size, fewer when a few large sites make the figure.

    Shapes, Units, Missing, Errors   as clustered_proportion.
    Source   Rust & Rao (1996) Stat Methods Med Res 5:283-310 for the jackknife; effective number of sites: Carter,
             Schnepel & Steigerwald (2017) Rev Econ Stat 99:698-709, both from memory. Checked against figures worked
             by hand in tests/statistics/test_clustered_proportion.py and by coverage in
             tests/benchmarks/coverage_of_proportions.py.
    """
    taylor = clustered_proportion(count, people)
    count, people = (np.atleast_2d(np.asarray(a, dtype=float)) for a in (count, people))
    n, p, sites = taylor.people[:, None], taylor.proportion, taylor.freedom + 1
    with np.errstate(divide="ignore", invalid="ignore"):
        away = np.where(people > 0, (count - p[:, None] * people) / (n - people), 0)
        variance = np.where(sites >= 2, (sites - 1) / sites * np.sum(away**2, axis=1), np.nan)
        simple = p * (1 - p) / taylor.people
        design_effect = np.where(simple > 0, variance / simple, np.nan)
    freedom = np.where(sites >= 2, effective_freedom(people), 0.0)
    return ClusteredProportion(p, taylor.people, variance, freedom, design_effect)


def effective_freedom(size: ArrayLike) -> Floats:
    """(Σ s)²/Σ s² − 1, at least 1: degrees of freedom of sites of unequal size. Shapes: (cells, sites) → (cells,)."""
    size = np.atleast_2d(np.asarray(size, dtype=float))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.maximum(size.sum(axis=1) ** 2 / np.sum(size**2, axis=1) - 1, 1)


def korn_graubard_interval(cells: ClusteredProportion, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Clopper–Pearson at the effective sample size, with the degrees of freedom of the sites.

    n* = min(n, p(1 − p)/v) · (t_{n−1} / t_{df})², x* = n*·p. The effective size is capped at the people there are,
    before the t-ratio: clustering is never taken as good news.

    Shapes   low, high: (cells,).
    Units    proportions from 0 to 1.
    Missing  nan with nobody measured, or with fewer than two sites.
    Source   Korn & Graubard (1998) Surv Methodol 24:193-201; the cap as in the NCHS standards (Parker et al. 2017).
             Checked in tests/published/test_korn_graubard.py.
    """
    n = korn_graubard_people(cells, confidence)
    enough = np.isfinite(n)
    n = np.where(enough, n, 0)
    low, high = clopper_pearson_interval(
        np.where(enough, np.minimum(n * cells.proportion, n), 0), n, confidence
    )
    return np.where(enough, low, np.nan), np.where(enough, high, np.nan)


def korn_graubard_people(cells: ClusteredProportion, confidence: float = 0.95) -> Floats:
    """The effective sample size n* of korn_graubard_interval. Shapes, Missing, Source as there."""
    tail = (1 + confidence) / 2
    enough = (cells.freedom >= 1) & (cells.people >= 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = stdtrit(np.where(enough, cells.people - 1, 1), tail) / stdtrit(
            np.where(enough, cells.freedom, 1), tail
        )
    return np.where(enough, cells.effective_people * ratio**2, np.nan)
