"""How sure the LMS percentile curves are, when people come in sites: bands from a sandwich over sites."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.box_cox_cole_green import information, scores
from pipeline.statistics.clustered_proportion import effective_freedom
from pipeline.statistics.lms import LmsFit
from pipeline.statistics.site_part import SitePart, SumsByAge, people_by_age

Floats = NDArray[np.float64]

_SERIES_BELOW = 1e-3


def site_part(fit: LmsFit, age: ArrayLike, value: ArrayLike, n: ArrayLike) -> SitePart:
    """One site's part of the gradient of the log-likelihood at the fit of all sites, and its people.

    Shapes   age, value, n: (cells,) of the site; the score in the order of the fit's coefficients.
    Units    as fit_lms.
    Missing  ages outside the fit do not count.
    """
    age, n = np.asarray(age, dtype=float), np.asarray(n, dtype=float)
    ages, at = distinct_ages(age)
    by_age = [np.bincount(at, n * each, ages.size) for each in gradients(fit, age, value).T]
    people = np.bincount(at, n, ages.size)
    return parts_of_sums(fit, [SumsByAge(ages, people, np.empty((ages.size, 0)), np.array(by_age).T)])[0]


def gradients(fit: LmsFit, age: ArrayLike, value: ArrayLike) -> Floats:
    """One person's derivatives of the log-likelihood by L, ln M and ln S. Shapes: age, value (cells,) → (cells, 3).

    Missing  0 at ages outside the fit.
    """
    age, value = np.asarray(age, dtype=float), np.asarray(value, dtype=float)
    found = np.zeros((age.size, 3))
    kept = (age >= fit.spline.lowest) & (age <= fit.spline.highest)
    ages, at = distinct_ages(age[kept])
    l, log_m, log_s = fit.coefficients @ fit.spline.basis(ages).T
    found[kept] = np.column_stack(scores(np.log(value[kept]) - log_m[at], l[at], log_s[at]))
    return found


def parts_of_sums(fit: LmsFit, sites: Sequence[SumsByAge]) -> list[SitePart]:
    """site_part of each site from its sums by age; gradient (ages, 3): the people's gradients added up."""
    kept = [
        (of.people > 0) & (of.ages >= fit.spline.lowest) & (of.ages <= fit.spline.highest) for of in sites
    ]
    designs = fit.spline.bases([of.ages[rows] for of, rows in zip(sites, kept, strict=True)])
    return [
        SitePart(
            np.concatenate([design.T @ each for each in of.gradient[rows].T]), of.ages[rows], of.people[rows]
        )
        for of, rows, design in zip(sites, kept, designs, strict=True)
    ]


def sandwich_covariance(fit: LmsFit, parts: Sequence[SitePart]) -> tuple[Floats, float]:
    """Covariance of the coefficients over sites, with what the penalty hides; and its degrees of freedom.

    (K − 1)/K · Σ_k d_k d_kᵀ + (V − V·H·V), d_k = (V⁻¹ − H_k)⁻¹(g_k − q_k·Σg): how the fit moves when site k is left
    out, in one step, V being the fit's covariance, H_k the site's expected information, H their sum, g_k its score, and
    q_k its share of the people: Σg is the pull of the penalty. The second part is the penalty's own share of V: a
    smooth curve cuts off peaks, and the spread between sites does not show it. Degrees (Σn)²/Σn² − 1 over sites.

    Shapes   out (3·size, 3·size) and a number.
    Errors   ValueError for fewer than two sites.
    Source   Liang & Zeger (1986) Biometrika 73:13-22; leaving out a site: Bell & McCaffrey (2002) Surv Methodol
             28:169-181; the penalty's share: Nychka (1988) J Am Stat Assoc 83:1134-1143 and Wood (2017) Generalized
             Additive Models, section 6.10, from memory. Checked by coverage in tests/statistics/test_lms_band.py and
             tests/benchmarks/coverage_of_curves.py.
    """
    sites = len(parts)
    if sites < 2:
        raise ValueError(f"{sites} site: the spread between sites needs two or more")
    score, size = np.array([part.score for part in parts]), np.array([part.people.sum() for part in parts])
    by_site = _site_information(fit, parts)
    bread, whole = np.linalg.inv(fit.covariance), by_site.sum(axis=0)
    own = score - np.outer(size / size.sum(), score.sum(axis=0))
    moved = np.linalg.solve(bread - by_site, own[:, :, None])[:, :, 0]
    hidden = fit.covariance - fit.covariance @ whole @ fit.covariance
    return (sites - 1) / sites * moved.T @ moved + hidden, float(effective_freedom(size)[0])


def _site_information(fit: LmsFit, parts: Sequence[SitePart]) -> Floats:
    """Expected information about the coefficients that each site holds: (sites, 3·size, 3·size)."""
    ages, people = people_by_age(parts)
    design = fit.spline.basis(ages)
    l, _, log_s = fit.coefficients @ design.T
    pairs = (design[:, :, None] * design[:, None, :]).reshape(ages.size, -1)
    by_pair = np.einsum("jka,sa->sjka", information(l, log_s), people) @ pairs
    size = design.shape[1]
    blocks = by_pair.reshape(len(parts), 3, 3, size, size).transpose(0, 1, 3, 2, 4)
    return blocks.reshape(len(parts), 3 * size, 3 * size)


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
    Units    age in years; low and high in the measure's unit; freedom as of sandwich_covariance.
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
