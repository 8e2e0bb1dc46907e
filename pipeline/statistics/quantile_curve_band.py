"""How sure regression-quantile curves are, when people come in sites: bands from a sandwich over sites."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.clustered_proportion import effective_freedom
from pipeline.statistics.print_step import part_below
from pipeline.statistics.quantile_curve import QuantileCurves
from pipeline.statistics.site_part import SitePart, SumsByAge, people_by_age

Floats = NDArray[np.float64]

_LEAST_SLOPE = 0.1  # of an age's mean slope: where curves meet, the density is not taken as without bound
_MOST_OF_ONE_SITE = (
    0.99  # of what is known of a curve at an age: beyond, nothing tells how sites differ there
)


def site_part(
    curves: QuantileCurves, age: ArrayLike, value: ArrayLike, n: ArrayLike, step: float
) -> SitePart:
    """One site's part of the gradient of each regression quantile, Σ n·x·(τ − share below the curve); and its people.

    Shapes   age, value, n: (cells,) of the site; the score (percents, size).
    Units    as fit_quantile_curves; step is the print resolution, over which a value counts in part as below.
    Missing  ages outside the fit do not count.
    """
    age, n = np.asarray(age, dtype=float), np.asarray(n, dtype=float)
    ages, at = distinct_ages(age)
    below = [np.bincount(at, n * each, ages.size) for each in parts_below(curves, age, value, step).T]
    people = np.bincount(at, n, ages.size)
    return parts_of_sums(curves, [SumsByAge(ages, people, np.empty((ages.size, 0)), np.array(below).T)])[0]


def parts_below(curves: QuantileCurves, age: ArrayLike, value: ArrayLike, step: float) -> Floats:
    """The part of each cell's print step that lies below each curve as fitted. Shapes: (cells,) → (cells, percents).

    Missing  0 at ages outside the fit.
    """
    age, value = np.asarray(age, dtype=float), np.asarray(value, dtype=float)
    found = np.zeros((age.size, curves.percents.size))
    kept = (age >= curves.spline.lowest) & (age <= curves.spline.highest)
    ages, at = distinct_ages(age[kept])
    fitted = curves.spline.basis(ages) @ curves.coefficients.T
    found[kept] = part_below(value[kept], fitted[at], step)
    return found


def parts_of_sums(curves: QuantileCurves, sites: Sequence[SumsByAge]) -> list[SitePart]:
    """site_part of each site from its sums by age; gradient (ages, percents): people below the curves, added up."""
    spline = curves.spline
    kept = [(of.people > 0) & (of.ages >= spline.lowest) & (of.ages <= spline.highest) for of in sites]
    designs = spline.bases([of.ages[rows] for of, rows in zip(sites, kept, strict=True)])
    parts = []
    for of, rows, design in zip(sites, kept, designs, strict=True):
        away = of.people[rows, None] * curves.percents / 100 - of.gradient[rows]
        parts.append(SitePart(away.T @ design, of.ages[rows], of.people[rows]))
    return parts


def quantile_band(
    curves: QuantileCurves, parts: Sequence[SitePart], age: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Pointwise band of each curve: covariance (K − 1)/K · Σ_k d_k d_kᵀ, d_k = (H − H_k)⁻¹(g_k − q_k·Σg), over K sites.

    d_k is how a curve moves when site k is left out, in one step: the check loss has no curvature of its own, and what
    stands for it is H = Σ n·f·xxᵀ, H_k being the site's part, f the density of the values at the curve, g_k the site's
    score and q_k its share of the people. Lower limits are put in order as the curves are, and upper.

    Shapes   parts: one a site with people; age (ages,); low, high: (ages, percents).
    Units    age in years; low and high in the measure's unit; Student's t on (Σn)²/Σn² − 1 degrees of freedom.
    Missing  nan outside the ages of the fit, and at ages of which one site tells nearly all (99 %).
    Errors   ValueError for fewer than two sites or fewer than two percents: there is no slope to read.
    Source   Koenker (2005) Quantile Regression, 3.2-3.4, for the sandwich; Parente & Santos Silva (2016) J Econom
             Methods 5:1-15 for clusters; Bell & McCaffrey (2002) Surv Methodol 28:169-181 for leaving out a site;
             Chernozhukov, Fernández-Val & Galichon (2009) Biometrika 96:559-575 for limits put in order; from memory.
             Checked by coverage in tests/statistics/test_quantile_curve_band.py and
             tests/benchmarks/coverage_of_quantile_curves.py.
    """
    sites, percents = len(parts), curves.percents.size
    if sites < 2 or percents < 2:
        raise ValueError(f"{sites} sites and {percents} percents: a band needs two or more of each")
    ages, people = people_by_age(parts)
    score, size = np.array([part.score for part in parts]), people.sum(axis=1)
    own = score - size[:, None, None] / size.sum() * score.sum(axis=0)
    design, density = curves.spline.basis(ages), _density(curves, ages, people.sum(axis=0))
    there = curves.spline.basis(age)
    error = np.empty((there.shape[0], percents))
    for k in range(percents):
        by_site = _by_site(design, people * density[:, k])
        moved, is_known = _left_out(by_site, own[:, k], there)
        error[:, k] = np.where(is_known, np.sqrt((sites - 1) / sites * np.sum(moved**2, axis=0)), np.nan)
    error[np.isnan(error).any(axis=1)] = np.nan  # all of an age or none: limits are put in order below
    half = stdtrit(float(effective_freedom(size)[0]), (1 + confidence) / 2) * error
    centre = there @ curves.coefficients.T
    return np.sort(centre - half, axis=1), np.sort(centre + half, axis=1)


def _by_site(design: Floats, weight: Floats) -> Floats:
    """H of each site, Σ weight · xxᵀ. Shapes: design (ages, size), weight (sites, ages) → (sites, size, size)."""
    size = design.shape[1]
    pairs = (design[:, :, None] * design[:, None, :]).reshape(-1, size**2)
    return (weight @ pairs).reshape(-1, size, size)


def _left_out(by_site: Floats, score: Floats, there: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """How far a curve moves at each age when each site is left out; and where enough is then left to tell.

    Shapes   by_site (sites, size, size); score (sites, size); there (ages, size); out (sites, ages), (ages,).
    """
    whole = by_site.sum(axis=0)
    whole = whole + 1e-12 * np.trace(whole) * np.eye(whole.shape[0])
    without = np.linalg.solve(whole - by_site, np.broadcast_to(there.T, (len(by_site), *there.T.shape)))
    moved = np.einsum("kj,kja->ka", score, without)
    variance = np.einsum("aj,kja->ka", there, without)
    of_all = np.einsum("aj,ja->a", there, np.linalg.solve(whole, there.T))
    return moved, np.all(variance * (1 - _MOST_OF_ONE_SITE) < of_all, axis=0)


def _density(curves: QuantileCurves, ages: Floats, people: Floats) -> Floats:
    """Density of the values at each curve, per unit of the measure, read off the curves. Shape (ages, percents).

    φ(z) over the slope of the value by the normal score z of the percentile, so the percentiles fitted must lie close,
    as the published do. An age has its own mean slope; how that is shared out among the percents changes along a
    straight line of ln(age) only: single differences between neighbouring curves are too unsteady at the first and last
    ages, where the density then seems high and the band too narrow.
    """
    z = ndtri(curves.percents / 100)
    slope = np.gradient(curves.value_at(ages), z, axis=1)
    spread = slope.mean(axis=1, keepdims=True)
    line, root = np.stack([np.ones(ages.size), np.log(ages)], axis=1), np.sqrt(people)[:, None]
    shape = line @ np.linalg.lstsq(line * root, slope / spread * root, rcond=None)[0]
    return np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) / (spread * np.maximum(shape, _LEAST_SLOPE))
