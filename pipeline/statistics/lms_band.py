"""How sure the LMS percentile curves are, when people come in sites: bands from a sandwich over sites."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.box_cox_cole_green import scores
from pipeline.statistics.lms import LmsFit

Floats = NDArray[np.float64]

_SERIES_BELOW = 1e-3


def site_score(fit: LmsFit, age: ArrayLike, value: ArrayLike, n: ArrayLike) -> Floats:
    """One site's part of the gradient of the log-likelihood at the fit of all sites.

    Shapes   age, value, n: (cells,) of the site; out (3·size,), in the order of the fit's coefficients.
    Units    as fit_lms.
    Missing  ages outside the fit do not count.
    """
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    kept = (n > 0) & (age >= fit.spline.lowest) & (age <= fit.spline.highest)
    ages, at = distinct_ages(age[kept])
    design = fit.spline.basis(ages)
    l, log_m, log_s = fit.coefficients @ design.T
    by_cell = scores(np.log(value[kept]) - log_m[at], l[at], log_s[at])
    return np.concatenate([design.T @ np.bincount(at, n[kept] * score, ages.size) for score in by_cell])


def sandwich_covariance(fit: LmsFit, site_scores: ArrayLike) -> Floats:
    """Covariance of the coefficients over sites: K/(K − 1) · V·Σ(g_k − ḡ)(g_k − ḡ)ᵀ·V.

    V is the fit's own covariance; the mean of the scores is the pull of the penalty and is taken off.

    Shapes   site_scores: (sites, 3·size); out (3·size, 3·size).
    Errors   ValueError for fewer than two sites.
    Source   Liang & Zeger (1986) Biometrika 73:13-22, with the penalty's curvature in V as in Wood (2017) Generalized
             Additive Models. Checked by coverage in tests/statistics/test_lms_band.py.
    """
    g = np.atleast_2d(np.asarray(site_scores, dtype=float))
    sites = g.shape[0]
    if sites < 2:
        raise ValueError(f"{sites} site: the spread between sites needs two or more")
    moved = (g - g.mean(axis=0)) @ fit.covariance
    return sites / (sites - 1) * moved.T @ moved


def percentile_band(
    fit: LmsFit,
    covariance: Floats,
    age: ArrayLike,
    percents: ArrayLike,
    freedom: float = np.inf,
    confidence: float = 0.95,
) -> tuple[Floats, Floats]:
    """Pointwise band of each percentile curve, on the logarithm of the value.

    Shapes   covariance: (3·size, 3·size); age: (ages,); percents: (percents,); low, high: (ages, percents).
    Units    age in years; low and high in the measure's unit; freedom is sites − 1 for a sandwich over sites.
    Missing  nan outside the ages of the fit, and where the curve itself is.
    Source   delta method on ln value = ln M + ln(1 + L·S·z)/L.
    """
    design = fit.spline.basis(age)
    l, _, log_s = (curve[:, None] for curve in fit.coefficients @ design.T)
    z = ndtri(np.atleast_1d(np.asarray(percents, dtype=float)) / 100)
    sz = np.exp(log_s) * z
    x = l * sz
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = np.where(np.abs(x) < _SERIES_BELOW, -0.5 + 2 * x / 3, (x / (1 + x) - np.log1p(x)) / x**2)
        slopes = np.stack([sz**2 * bend, np.ones_like(x), sz / (1 + x)])  # by L, ln M, ln S
    gradient = np.einsum("kap,as->apks", slopes, design).reshape(*x.shape, -1)
    error = np.sqrt(np.einsum("apj,jk,apk->ap", gradient, covariance, gradient, optimize=True))
    upper = (1 + confidence) / 2
    half = (ndtri(upper) if np.isinf(freedom) else stdtrit(freedom, upper)) * error
    centre = fit.value_at(age, percents)
    return centre * np.exp(-half), centre * np.exp(half)
