"""Age curves of single quantiles by regression quantiles on splines: no family of distributions is assumed.

A linear programme over every cell is slow, and most cells do not matter: where a cell lies far above or below the
curve, only its sign enters. Such cells of an age are put together into one (Portnoy & Koenker 1997), the programme is
solved on the few cells near the curve, and the signs are checked; cells with a wrong sign count one by one from then
on, and it is solved again. The answer is the optimum over all cells, not an approximation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linprog

from pipeline.statistics.age_spline import AgeSpline, distinct_ages
from pipeline.statistics.one_thread import on_one_thread

Floats = NDArray[np.float64]

_SOLVERS = ("highs-ds", "highs-ipm")


@dataclass(frozen=True)
class QuantileCurves:
    """Regression quantiles by age. coefficients (percents, size) on the spline's basis."""

    spline: AgeSpline
    percents: Floats
    coefficients: Floats
    people: int

    def value_at(self, age: ArrayLike) -> Floats:
        """The curves, put in order where they cross: at each age the values are sorted.

        Shapes   age (ages,) → (ages, percents), percents ascending. Missing: nan outside the ages of the fit.
        Source   Chernozhukov, Fernández-Val & Galichon (2010) Econometrica 78:1093-1125: the rearranged curves are
                 nowhere further from the truth than the crossing ones.
        """
        return np.sort(self.spline.basis(age) @ self.coefficients.T, axis=1)

    def position(self, percents: ArrayLike) -> NDArray[np.int64]:
        """Where each percent stands among those fitted. Shapes: (any,) → (any,).

        Errors   ValueError for a percent that was not fitted.
        """
        percents = np.atleast_1d(np.asarray(percents, dtype=float))
        absent = sorted(set(percents) - set(self.percents))
        if absent:
            raise ValueError(f"percent {absent[0]:g} was not fitted; fitted are {self.percents.tolist()}")
        return np.searchsorted(self.percents, percents)


@on_one_thread
def fit_quantile_curves(
    age: ArrayLike,
    value: ArrayLike,
    n: ArrayLike,
    percents: ArrayLike,
    segments: int | None = None,
    fitted: QuantileCurves | None = None,
) -> QuantileCurves:
    """One regression quantile a percent on a cubic spline of ln(age), weighted by people.

    Shapes   age, value, n: (cells,); percents: (percents,). fitted: curves of the same cells and segments, of which
             those of percents that are asked for are taken over.
    Units    age in years, value in the measure's unit, n in people, percents strictly between 0 and 100.
    Missing  cells with n = 0 do not count.
    Errors   ValueError for a negative count, a percent outside 0 to 100, or under 4 different ages.
    Source   Koenker & Bassett (1978) Econometrica 46:33-50; Portnoy & Koenker (1997) Stat Sci 12:279-300.
             Checked in tests/published/test_quantile_regression.py.
    """
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    percents = np.sort(np.atleast_1d(np.asarray(percents, dtype=float)))
    if np.any(n < 0):
        raise ValueError(f"a count of {n.min():g}: counts are 0 or more")
    if np.any((percents <= 0) | (percents >= 100)):
        raise ValueError(f"percents {percents.tolist()}: numbers between 0 and 100 are expected")
    order = np.lexsort((value, age))
    order = order[n[order] > 0]
    age, value, n = age[order], value[order], n[order]
    ages, at = distinct_ages(age)
    if ages.size < 4:
        raise ValueError(f"{ages.size} different ages: a curve needs 4 or more")
    spline = AgeSpline(ages[0], ages[-1], segments or _segments(ages.size, n.sum()))
    design = spline.basis(ages)
    known = {} if fitted is None else dict(zip(fitted.percents, fitted.coefficients, strict=True))
    found = [
        known[percent] if percent in known else regression_quantile(design, at, value, n, percent / 100)
        for percent in percents
    ]
    return QuantileCurves(spline, percents, np.array(found), round(n.sum()))


def _segments(ages: int, people: float) -> int:
    """As many as follow the growth of children (14 over all ages), fewer where people or ages are few."""
    return int(np.clip(min(ages // 6, max(4, people // 600)), 1, 14))


def regression_quantile(
    design: Floats, at: NDArray[np.int64], value: Floats, n: Floats, share: float
) -> Floats:
    """Coefficients that minimise Σ n·ρ(value − design[at]·b), ρ the check loss of `share`.

    Shapes   design (ages, size); at, value, n (cells,), sorted by at and value; out (size,).
    """
    people = np.bincount(at, n, design.shape[0])
    within = (np.cumsum(n) - np.concatenate([[0], np.cumsum(people)])[at]) / people[
        at
    ]  # share at or below the cell
    before = within - n / people[at]
    reach = max(0.01, 1.5 * np.sqrt(share * (1 - share) * design.shape[1] / n.sum()))
    low = _edge(design, at, value, people, within >= share - reach, share - reach > 0, -np.inf)
    high = _edge(design, at, value, people, before <= share + reach, share + reach < 1, np.inf, is_upper=True)
    # Where the two cross no cell is both: it would count twice.
    below, above = value < np.minimum(low, high)[at], value > np.maximum(low, high)[at]
    while True:
        coefficients = _solve(design, *_gathered(at, value, n, below, above), share)
        curve = (design @ coefficients)[at]
        slack = 1e-9 * (1 + np.abs(curve))
        is_wrong = (below & (value > curve + slack)) | (above & (value < curve - slack))
        if not np.any(is_wrong):
            return coefficients
        below, above = below & ~is_wrong, above & ~is_wrong


def _edge(
    design: Floats,
    at: NDArray,
    value: Floats,
    people: Floats,
    is_past: NDArray,
    exists: bool,
    otherwise: float,
    is_upper: bool = False,
) -> Floats:
    """A rough curve through one quantile of each age: least squares of the ages' own quantiles. (ages,)"""
    if not exists:
        return np.full(design.shape[0], otherwise)
    rough = np.full(design.shape[0], np.inf if not is_upper else -np.inf)
    if is_upper:
        np.maximum.at(rough, at[is_past], value[is_past])
    else:
        np.minimum.at(rough, at[is_past], value[is_past])
    root = np.sqrt(people)
    return design @ np.linalg.lstsq(design * root[:, None], rough * root, rcond=None)[0]


def _gathered(
    at: NDArray, value: Floats, n: Floats, below: NDArray, above: NDArray
) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Cells near the curve as they are; those surely below or above, one cell an age at their mean."""
    parts = [(at[~(below | above)], value[~(below | above)], n[~(below | above)])]
    for side in (below, above):
        weight = np.bincount(at[side], n[side])
        total = np.bincount(at[side], n[side] * value[side])
        there = np.flatnonzero(weight)
        parts.append((there, total[there] / weight[there], weight[there]))
    at, value, n = (np.concatenate(part) for part in zip(*parts, strict=True))
    return at, value, n


def _solve(design: Floats, at: NDArray[np.int64], value: Floats, n: Floats, share: float) -> Floats:
    """The coefficients as the multipliers of the dual programme: maximise Σ v·a with Xᵀa = (1 − share)·Xᵀn, 0 ≤ a ≤ n.

    The dual has one row a coefficient and only bounds on the cells. The primal, as in scikit-learn's
    QuantileRegressor, has one row a cell: seven times slower here, and now and then the solver gave it up. The simplex
    method gives up one dual in some thousand too, without a fault in it; interior points then find the same optimum.
    """
    rows, scaled = design[at], n / n.mean()
    for method in _SOLVERS:
        found = linprog(
            -value,
            A_eq=rows.T,
            b_eq=(1 - share) * (rows.T @ scaled),
            bounds=np.column_stack([np.zeros(n.size), scaled]),
            method=method,
        )
        if found.status == 0:
            return -found.eqlin.marginals
    raise ValueError(
        f"no regression quantile at {share:g} ({found.message.strip()}): look for values that are not "
        "numbers, or for ages without people"
    )
