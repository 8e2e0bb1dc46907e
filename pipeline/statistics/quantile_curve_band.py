"""How sure regression-quantile curves are, when people come in sites: bands from a sandwich over sites."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.print_step import part_below
from pipeline.statistics.quantile_curve import QuantileCurves

Floats = NDArray[np.float64]

_LEAST_SLOPE = 0.1  # of an age's mean slope: where curves meet, the density is not taken as without bound


def site_score(curves: QuantileCurves, age: ArrayLike, value: ArrayLike, n: ArrayLike, step: float) -> Floats:
    """One site's part of the gradient of each regression quantile: Σ n·x·(τ − share below the curve).

    Shapes   age, value, n: (cells,) of the site; out (percents, size).
    Units    as fit_quantile_curves; step is the print resolution, over which a value counts in part as below.
    Missing  ages outside the fit do not count.
    """
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    kept = (n > 0) & (age >= curves.spline.lowest) & (age <= curves.spline.highest)
    ages, at = distinct_ages(age[kept])
    design = curves.spline.basis(ages)
    fitted = (design @ curves.coefficients.T)[at]
    away = n[kept, None] * (curves.percents / 100 - part_below(value[kept], fitted, step))
    by_age = np.array([np.bincount(at, column, ages.size) for column in away.T])
    return by_age @ design


def quantile_band(
    curves: QuantileCurves,
    site_scores: ArrayLike,
    people_age: ArrayLike,
    people: ArrayLike,
    age: ArrayLike,
    confidence: float = 0.95,
) -> tuple[Floats, Floats]:
    """Pointwise band of each curve: covariance K/(K − 1) · H⁻¹·Σ(g_k − ḡ)(g_k − ḡ)ᵀ·H⁻¹ over K sites.

    H = Σ n·f·xxᵀ, f the density of the values at the curve. It is read off the curves themselves: φ(z) over the slope
    of the value by the normal score z of the percentile, so the percentiles fitted must lie close, as the published
    do. Lower limits are put in order as the curves are, and upper.

    Shapes   site_scores: (sites, percents, size); people_age, people: (any,), people at each age of the fit;
             age (ages,); low, high: (ages, percents).
    Units    age in years; low and high in the measure's unit; Student's t on sites − 1 degrees of freedom.
    Missing  nan outside the ages of the fit.
    Errors   ValueError for fewer than two sites or fewer than two percents: there is no slope to read.
    Source   Koenker (2005) Quantile Regression, 3.2-3.4, for the sandwich; Parente & Santos Silva (2016) J Econom
             Methods 5:1-15 for clusters; Chernozhukov, Fernández-Val & Galichon (2009) Biometrika 96:559-575 for
             limits put in order; from memory. Checked by coverage in tests/statistics/test_quantile_curve_band.py.
    """
    g = np.asarray(site_scores, dtype=float)
    sites, percents = g.shape[0], curves.percents.size
    if sites < 2 or percents < 2:
        raise ValueError(f"{sites} sites and {percents} percents: a band needs two or more of each")
    ages, at = distinct_ages(people_age)
    counted = np.bincount(at, np.asarray(people, dtype=float), ages.size)
    design, density = curves.spline.basis(ages), _density(curves, ages)
    there = curves.spline.basis(age)
    error = np.empty((there.shape[0], percents))
    for k in range(percents):
        information = (design * (counted * density[:, k])[:, None]).T @ design
        ridge = 1e-12 * np.trace(information) * np.eye(information.shape[0])
        moved = np.linalg.solve(information + ridge, (g[:, k] - g[:, k].mean(axis=0)).T)
        error[:, k] = np.sqrt(sites / (sites - 1) * np.sum((there @ moved) ** 2, axis=1))
    half = stdtrit(sites - 1, (1 + confidence) / 2) * error
    centre = there @ curves.coefficients.T
    return np.sort(centre - half, axis=1), np.sort(centre + half, axis=1)


def _density(curves: QuantileCurves, ages: Floats) -> Floats:
    """Density of the values at each curve, per unit of the measure. Shape (ages, percents)."""
    z = ndtri(curves.percents / 100)
    slope = np.gradient(curves.value_at(ages), z, axis=1)
    slope = np.maximum(slope, _LEAST_SLOPE * slope.mean(axis=1, keepdims=True))
    return np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) / slope
