"""Smooth age curves of a measure by the LMS method, fitted from value counts by Fisher scoring.

The spline basis depends on age alone, so with whole-year ages every information matrix is a weighted sum over at
most 95 outer products: a scoring step over 20,000 cells costs a few passes over the cells and one small solve,
however many people stand behind the counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import ndtr, ndtri

from pipeline.statistics.age_spline import AgeSpline, distinct_ages
from pipeline.statistics.box_cox_cole_green import information, log_density, scores, value_at_z, z_score
from pipeline.statistics.one_thread import on_one_thread

Floats = NDArray[np.float64]

_CURVES = 3  # L, ln M, ln S, in this order
_LARGEST_PENALTY = 1e6  # of the information: a curve this stiff is a straight line in ln(age)
_STEADY_STEPS = 400  # 95 of 100 fits settle within 80
_MOST_STEPS = 600
_LONGEST_STRIDE = np.log(10.0)  # of a penalty's logarithm, when it is made to hurry


class NoConvergence(ValueError):
    """The scoring steps did not settle, as where the family is far from the values."""


@dataclass(frozen=True)
class LmsFit:
    """Fitted L, M and S by age.

    coefficients   (3, size) of L, ln M and ln S on the design
    penalties      (3,) smoothing parameters chosen, in units of the information
    freedom        (3,) effective degrees of freedom used
    covariance     (3·size, 3·size) of the coefficients, from the expected information and the penalty
    log_likelihood weighted, with the Jacobian and constant: comparable between fits of the same counts
    """

    spline: AgeSpline
    coefficients: Floats
    penalties: Floats
    freedom: Floats
    covariance: Floats
    log_likelihood: float
    people: int

    def lms(self, age: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """L, M and S at each age; nan outside the ages of the fit. Shapes: age (ages,) → three of (ages,)."""
        ages, at = distinct_ages(age)
        l, log_m, log_s = self.coefficients @ self.spline.basis(ages).T
        return l[at], np.exp(log_m)[at], np.exp(log_s)[at]

    def z_score(self, age: ArrayLike, value: ArrayLike) -> Floats:
        """z-scores of values at ages. Shapes: age, value (any,) → (any,)."""
        return z_score(value, *self.lms(age))

    def percentile_of(self, age: ArrayLike, value: ArrayLike) -> Floats:
        """Percent of people of the age below each value, 0 to 100. Shapes: age, value (any,) → (any,)."""
        return 100 * ndtr(self.z_score(age, value))

    def value_at(self, age: ArrayLike, percent: ArrayLike) -> Floats:
        """The percentile curves. Shapes: age (ages,), percent (percents,) → (ages, percents)."""
        l, m, s = (curve[:, None] for curve in self.lms(age))
        return value_at_z(ndtri(np.atleast_1d(percent) / 100), l, m, s)


@on_one_thread
def fit_lms(age: ArrayLike, value: ArrayLike, n: ArrayLike, segments: int | None = None) -> LmsFit:
    """Penalised maximum likelihood for L, ln M and ln S, each a cubic spline of ln(age).

    Maximises Σ n·[L·ln(y/M) − ln S − z²/2] − ½ Σ λ ∫ f″²; the three λ maximise the Laplace-approximate restricted
    likelihood.

    Shapes   age, value, n: (cells,), one cell a value at an age.
    Units    age in years, value in the measure's unit and above 0, n in people.
    Missing  cells with n = 0 do not count.
    Errors   ValueError for a value that is not above 0, a negative count, or under 4 different ages; NoConvergence,
             a ValueError, when the steps do not settle.
    Source   Cole & Green (1992) Stat Med 11:1305-1319; Rigby & Stasinopoulos (2005) Appl Stat 54:507-554;
             smoothing: Wood & Fasiolo (2017) Biometrics 73:1071-1081. Checked in tests/published/test_lms.py.
    """
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    if np.any(n < 0):
        raise ValueError(f"a count of {n.min():g}: counts are 0 or more")
    age, value, n = age[n > 0], value[n > 0], n[n > 0]
    if np.any(value <= 0):
        raise ValueError(f"a value of {value.min():g}: the Box-Cox family needs values above 0")
    ages, at = distinct_ages(age)
    if ages.size < 4:
        raise ValueError(f"{ages.size} different ages: a curve needs 4 or more")
    spline = AgeSpline(ages[0], ages[-1], segments or int(np.clip(ages.size // 4, 3, 20)))
    design, root = spline.basis(ages), spline.roughness_root()
    beta, penalties, freedom, covariance, reached = fit_penalised(design, root, at, np.log(value), n)
    constant = n @ np.log(value) + n.sum() * np.log(2 * np.pi) / 2
    return LmsFit(spline, beta, penalties, freedom, covariance, float(reached - constant), round(n.sum()))


def fit_penalised(
    design: Floats, root: Floats, at: NDArray[np.int64], log_value: Floats, n: Floats
) -> tuple[Floats, Floats, Floats, Floats, float]:
    """The scoring loop on any design over ages; a roughness of zero gives plain maximum likelihood.

    Shapes   design (ages, size); root (any, size), |root·b|² being the roughness of a curve;
             at, log_value, n (cells,), at being the row of the design.
    Returns  coefficients (3, size), penalties (3,), freedom (3,), covariance (3·size, 3·size), log-likelihood.
    """
    cells = _Cells(design, at, log_value, n)
    rank = int(np.linalg.matrix_rank(root))
    if rank:  # penalties are then ratios to the information, whatever the people and the span of ages
        root = root * np.sqrt(cells.people @ (design**2).sum(axis=1) / np.sum(root**2))
    roughness = root.T @ root
    penalties = np.ones(_CURVES) if rank else np.zeros(_CURVES)
    beta = cells.start(roughness)
    reached = cells.log_likelihood(beta)
    freedom = np.full(_CURVES, np.inf)
    hurry = _Hurry()
    for steps in range(_MOST_STEPS):
        gradient, hessian = cells.derivatives(beta)
        ridge = 1e-12 * np.trace(hessian) / hessian.shape[0] * np.eye(hessian.shape[0])
        factor = cho_factor(hessian + np.kron(np.diag(penalties), roughness) + ridge)
        pull = penalties[:, None] * (beta @ root.T @ root)
        step = cho_solve(factor, gradient - pull.ravel()).reshape(beta.shape)
        beta, reached, gain = _ascend(cells, beta, reached, step, penalties, root)
        covariance = cho_solve(factor, np.eye(hessian.shape[0]))
        used = _by_curve(np.einsum("ij,ji->i", covariance, hessian), design.shape[1])
        is_settled = gain < 1e-9 * n.sum() and np.max(np.abs(used - freedom)) < 1e-3
        freedom = used
        if is_settled and (not rank or np.max(np.abs(step @ design.T)) < 1e-5):
            return beta, penalties, freedom, covariance, reached
        if rank:
            updated = _fellner_schall(penalties, beta, covariance, root, rank)
            penalties = updated if steps < _STEADY_STEPS else hurry.further(penalties, updated)
    raise NoConvergence(f"no convergence in {_MOST_STEPS} scoring steps")


@dataclass(frozen=True)
class _Cells:
    """The counts on a design of ages, and their log-likelihood: shapes as fit_penalised, coefficients (3, size)."""

    design: Floats
    at: NDArray[np.int64]
    log_value: Floats
    n: Floats

    @cached_property
    def people(self) -> Floats:
        return np.bincount(self.at, self.n, self.design.shape[0])

    def start(self, roughness: Floats) -> Floats:
        """ln M from the mean logarithm at each age, lightly smoothed; ln S from what is left; L = 0."""
        design, people, n = self.design, self.people, self.n
        mean = np.bincount(self.at, n * self.log_value, people.size) / people
        gram = (design * people[:, None]).T @ design
        softened = gram + 1e-3 * roughness + 1e-9 * np.trace(gram) * np.eye(len(gram))
        m = np.linalg.solve(softened, design.T @ (people * mean))
        spread = np.sqrt(max(n @ (self.log_value - (design @ m)[self.at]) ** 2 / n.sum(), 1e-6))
        level = np.linalg.lstsq(design, np.full(people.size, np.log(spread)), rcond=None)[0]
        return np.array([np.zeros_like(m), m, level])

    def log_likelihood(self, beta: Floats) -> float:
        l, log_m, log_s = beta @ self.design.T
        at = self.at
        with np.errstate(over="ignore", invalid="ignore"):
            return float(self.n @ log_density(self.log_value - log_m[at], l[at], log_s[at]))

    def derivatives(self, beta: Floats) -> tuple[Floats, Floats]:
        """Gradient (3·size,) and expected information (3·size, 3·size) of the log-likelihood."""
        l, log_m, log_s = beta @ self.design.T
        at, people = self.at, self.people
        by_cell = scores(self.log_value - log_m[at], l[at], log_s[at])
        by_age = np.array([np.bincount(at, self.n * score, people.size) for score in by_cell])
        weights = information(l, log_s) * people
        blocks = self.design.T @ (weights[..., None] * self.design)  # (3, 3, size, size)
        gradient = (by_age @ self.design).ravel()
        return gradient, blocks.swapaxes(1, 2).reshape(gradient.size, gradient.size)


def _ascend(
    cells: _Cells, beta: Floats, reached: float, step: Floats, penalties: Floats, root: Floats
) -> tuple[Floats, float, float]:
    """The step, halved until the penalised log-likelihood does not fall; the log-likelihood there; what was gained."""

    def penalty(b: Floats) -> float:
        return penalties @ ((b @ root.T) ** 2).sum(axis=1) / 2

    before = reached - penalty(beta)
    for halving in range(30):
        candidate = beta + step / 2**halving
        likelihood = cells.log_likelihood(candidate)
        gain = likelihood - penalty(candidate) - before
        if np.isfinite(gain) and gain >= 0:
            return candidate, likelihood, gain
    return beta, reached, 0.0


def _fellner_schall(penalties: Floats, beta: Floats, covariance: Floats, root: Floats, rank: int) -> Floats:
    """λ ← (rank − λ·tr(V·RᵀR)) / |R·β|²: raises the restricted likelihood at every step."""
    size = root.shape[1]
    updated = np.empty(_CURVES)
    for k in range(_CURVES):
        block = covariance[k * size : (k + 1) * size, k * size : (k + 1) * size]
        free = max(rank - penalties[k] * np.sum((root @ block) * root), 1e-6)
        updated[k] = free / max(np.sum((root @ beta[k]) ** 2), free / _LARGEST_PENALTY)
    return updated


class _Hurry:
    """Longer strides of penalties that creep one way.

    Where the restricted likelihood is nearly flat, as on the way to a straight line, an update goes a hundredth of what
    is left. Strides double until a penalty turns round. Where they lead, and when it counts as reached, is as before.

    Source   Wood & Fasiolo (2017) Biometrics 73:1071-1081, section 2: longer steps keep the optimum; from memory.
    """

    def __init__(self) -> None:
        self.pace, self.way = np.ones(_CURVES), np.zeros(_CURVES)

    def further(self, penalties: Floats, updated: Floats) -> Floats:
        """Shapes   (3,) each: from where, to where the plain update goes, and to where instead."""
        stride = np.log(updated / penalties)
        self.pace = np.where(stride * self.way > 0, 2 * self.pace, 1.0)
        self.way = np.sign(stride)
        stride = np.clip(self.pace * stride, -_LONGEST_STRIDE, _LONGEST_STRIDE)
        return np.minimum(penalties * np.exp(stride), _LARGEST_PENALTY)


def _by_curve(diagonal: Floats, size: int) -> Floats:
    return diagonal.reshape(_CURVES, size).sum(axis=1)
