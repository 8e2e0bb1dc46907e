"""The age curves of one measure and sex: cells, the choice between the methods, and how sure the curves are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.curve_choice import CurveChoice, choose_curves
from pipeline.statistics.lms_band import percentile_band, sandwich_covariance, site_score
from pipeline.statistics.one_thread import on_one_thread
from pipeline.statistics.print_step import in_equal_parts, is_coarse, merged_steps

Floats = NDArray[np.float64]

NEAR = 2  # years on either side whose people a curve rests on most; project's choice


@dataclass(frozen=True)
class FittedCurve:
    """age, value, n: (cells,) of one measure and sex, value in the measure's unit; is_coarse: values are spread over
    their print step before anything is fitted to them."""

    measure: Measure
    sex: str
    age: Floats
    value: Floats
    n: Floats
    is_coarse: bool
    choice: CurveChoice

    @property
    def step(self) -> float:
        return 1 / self.measure.steps_per_unit

    @property
    def people(self) -> int:
        return round(self.n.sum())

    @property
    def whole_ages(self) -> NDArray[np.int64]:
        """Every age at which the measure applies, whoever is there: the ages of a curve tell nobody's age."""
        return np.arange(self.measure.age_from, self.measure.age_to + 1)

    def people_near(self) -> NDArray[np.int64]:
        """People within NEAR years of each of whole_ages. Shape (ages,)."""
        ages, at = distinct_ages(self.age)
        is_near = np.abs(self.whole_ages[:, None] - ages) <= NEAR
        return np.rint(is_near @ np.bincount(at, self.n, ages.size)).astype(np.int64)

    def spread(self, age: Floats, value: Floats, n: Floats) -> tuple[Floats, Floats, Floats]:
        """Cells as the fit took them."""
        return in_equal_parts(age, value, n, self.step) if self.is_coarse else (age, value, n)

    @on_one_thread
    def score_of_site(self, age: Floats, value: Floats, n: Floats) -> Floats:
        """One site's part of the gradient at the LMS fit. Shapes: (site's cells,) → (3·size,)."""
        return site_score(self.choice.lms, *self.spread(age, value, n))

    def band(self, site_scores: Sequence[Floats], percents: Sequence[int]) -> tuple[Floats, Floats]:
        """Pointwise band of the LMS curves at whole_ages, from the spread between sites.

        Shapes   site_scores: one (3·size,) a site with people; low, high: (ages, percents).
        Missing  nan where the curves are not LMS, or with fewer than two sites.
        """
        if self.choice.published != "lms" or len(site_scores) < 2:
            nothing = np.full((self.whole_ages.size, len(percents)), np.nan)
            return nothing, nothing
        lms, freedom = self.choice.lms, len(site_scores) - 1
        covariance = sandwich_covariance(lms, np.array(site_scores))
        return percentile_band(lms, covariance, self.whole_ages, percents, freedom)


@on_one_thread
def fit_curve(
    measure: Measure, sex: str, age: Floats, steps: Floats, n: Floats, percents: Sequence[int]
) -> FittedCurve:
    """Fit the curves of one measure and sex from value counts.

    Shapes   age, steps, n: (cells,), sorted by age and value.
    Units    steps in whole print steps; n in people.
    Missing  cells that hold nobody give a choice of no curve.
    Source   curve_choice.choose_curves, on print_step.merged_steps.
    """
    value = np.asarray(steps, dtype=float) / measure.steps_per_unit
    step = 1 / measure.steps_per_unit
    fitted_age, fitted_steps, people = merged_steps(age, steps, n)
    choice = choose_curves(fitted_age, fitted_steps * step, people, percents, step)
    return FittedCurve(
        measure,
        sex,
        np.asarray(age, dtype=float),
        value,
        np.asarray(n, dtype=float),
        is_coarse(value, n, step),
        choice,
    )
