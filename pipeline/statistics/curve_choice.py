"""Which curves of a measure are published, by a rule that is stated and never bent.

1. Too few people or too narrow a span of ages: none.
2. LMS curves, where their family of distributions holds: values are above 0, the fit settles, and at no percentile
   does it stray from regression quantiles, which assume no family, by more than the tolerance.
3. Otherwise the regression quantiles themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.box_cox_cole_green import z_score
from pipeline.statistics.lms import LmsFit, NoConvergence, fit_lms
from pipeline.statistics.print_step import spread_over_step
from pipeline.statistics.quantile_curve import QuantileCurves, fit_quantile_curves

Floats = NDArray[np.float64]

LEAST_PEOPLE = 400  # project's choice: under it even the median curve is known to no better than a band
LEAST_YEARS = 10  # project's choice: a curve over fewer years of age says no more than a percentile table
GATE_PERCENTS = (5, 25, 50, 75, 95)
TOLERANCE = 0.05  # standard deviations: at the median 2 people in 100 on the wrong side; project's choice
NOISE_ALLOWED = 1.5  # times what sampling alone makes of the difference; project's choice


@dataclass(frozen=True)
class CurveChoice:
    """published: lms, regression_quantile or none, and why, in words for the table.

    lms   also kept where it was fitted and not published
    """

    published: Literal["lms", "regression_quantile", "none"]
    why: str
    lms: LmsFit | None
    regression: QuantileCurves | None

    def value_at(self, age: ArrayLike, percents: ArrayLike) -> Floats:
        """The published curves. Shapes: age (ages,), percents (percents,) → (ages, percents).

        Missing  nan outside the ages of the fit, and everywhere when no curve is published.
        Errors   ValueError for a percent that the regression quantiles were not fitted for.
        """
        age, percents = np.atleast_1d(age), np.atleast_1d(np.asarray(percents, dtype=float))
        if self.published == "lms" and self.lms is not None:
            return self.lms.value_at(age, percents)
        if self.published == "none" or self.regression is None:
            return np.full((age.size, percents.size), np.nan)
        return self.regression.value_at(age)[:, self.regression.position(percents)]


def choose_curves(
    age: ArrayLike, value: ArrayLike, n: ArrayLike, percents: ArrayLike, step: float = 0.0
) -> CurveChoice:
    """Fit both methods and apply the rule of this file.

    Shapes   age, value, n: (cells,); percents: (percents,) to be published.
    Units    age in years, value and step (the print resolution) in the measure's unit, n in people.
    Missing  cells with n = 0 do not count; a step of 0 takes values as exact.
    Errors   as fit_lms and fit_quantile_curves.
    Source   the rule and its constants are the project's choice. Checked on distributions inside and outside the
             family in tests/statistics/test_curve_choice.py.
    """
    age, value, n = (np.asarray(a, dtype=float) for a in (age, value, n))
    reason = why_no_curve(age, n)
    if reason:
        return CurveChoice("none", reason, None, None)
    age, value, n = spread_over_step(age, value, n, step)
    if np.any(value[n > 0] <= 0):
        return _regression(age, value, n, percents, "values at or below 0 lie outside the family")
    try:
        lms = fit_lms(age, value, n)
    except NoConvergence as error:
        return _regression(age, value, n, percents, f"LMS curves do not settle, as outside their family: {error}")
    gate = fit_quantile_curves(age, value, n, GATE_PERCENTS)
    strays, tolerance = _strays(lms, gate, age, n), _tolerance(gate)
    worst = int(np.argmax(strays / tolerance))
    measured = (
        f"at percentile {GATE_PERCENTS[worst]} LMS and regression quantiles differ by {strays[worst]:.3f} SD, "
        f"{tolerance[worst]:.3f} allowed"
    )
    if strays[worst] <= tolerance[worst]:
        return CurveChoice("lms", f"the family holds: {measured}", lms, gate)
    choice = _regression(age, value, n, percents, f"the family does not hold: {measured}", gate)
    return replace(choice, lms=lms)


def _regression(
    age: Floats, value: Floats, n: Floats, percents: ArrayLike, why: str, fitted: QuantileCurves | None = None
) -> CurveChoice:
    """fitted: curves of the same cells that are there already; those of other percents are not taken over."""
    curves = fit_quantile_curves(age, value, n, percents, fitted=fitted)
    return CurveChoice("regression_quantile", why, None, curves)


def why_no_curve(age: Floats, n: Floats) -> str:
    """The reason for which no curve can be drawn, or nothing. It is published: it holds no count and no age."""
    people = n.sum()
    if people < LEAST_PEOPLE:
        return f"too few people: under {LEAST_PEOPLE}"
    years = np.ptp(age[n > 0]) + 1
    if years < LEAST_YEARS:
        return f"too narrow a span of ages: under {LEAST_YEARS} years"
    return ""


def _strays(lms: LmsFit, gate: QuantileCurves, age: Floats, n: Floats) -> Floats:
    """Root mean square over people of (the regression quantile's LMS z-score − the percentile's own). (percents,)"""
    ages, at = distinct_ages(age[n > 0])
    people = np.bincount(at, n[n > 0])
    quantiles = np.maximum(gate.value_at(ages), np.finfo(float).tiny)
    l, m, s = (curve[:, None] for curve in lms.lms(ages))
    away = z_score(quantiles, l, m, s) - ndtri(gate.percents / 100)
    return np.sqrt(people @ away**2 / people.sum())


def _tolerance(gate: QuantileCurves) -> Floats:
    """What is allowed: the fixed tolerance, and what sampling makes of a regression quantile of so many terms."""
    share = gate.percents / 100
    density = np.exp(-(ndtri(share) ** 2) / 2) / np.sqrt(2 * np.pi)
    noise = np.sqrt(gate.spline.size * share * (1 - share) / gate.people) / density
    return np.hypot(TOLERANCE, NOISE_ALLOWED * noise)
