"""The age curves of one measure and sex: cells, the choice between the methods, and how sure the curves are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.measures import Measure
from pipeline.statistics import lms_band, quantile_curve_band
from pipeline.statistics.age_spline import distinct_ages
from pipeline.statistics.curve_choice import CurveChoice, choose_curves
from pipeline.statistics.one_thread import on_one_thread
from pipeline.statistics.print_step import in_equal_parts, is_coarse, merged_steps, part_below
from pipeline.statistics.site_part import SitePart, SumsByAge

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
    def summed(self, age: Floats, value: Floats, n: Floats, percents: Sequence[int]) -> SumsByAge:
        """terms added up over people by age. Shapes: age, value, n (cells,) of a site."""
        ages, at = distinct_ages(age)
        by_age = [np.bincount(at, n * term, ages.size) for term in self.terms(age, value, percents).T]
        return self.sums_of(ages, np.bincount(at, n, ages.size), np.array(by_age).T, percents)

    @on_one_thread
    def terms(self, age: Floats, value: Floats, percents: Sequence[int]) -> Floats:
        """What one person of each cell adds to SumsByAge: first below, then gradient.

        Shapes   (cells,) → (cells, terms).
        Errors   ValueError where no curve is published.
        """
        below = part_below(value, self._beside(age, percents), self.step)
        if self.choice.published == "lms":
            spread_age, spread_value, _ = self.spread(age, value, np.ones(age.size))
            of_parts = lms_band.gradients(self.choice.lms, spread_age, spread_value)
            gradient = of_parts.reshape(age.size, -1, of_parts.shape[1]).mean(axis=1)
        elif self.choice.published == "none":
            raise ValueError(f"no curve of {self.measure.name} is published: {self.choice.why}")
        else:
            gradient = quantile_curve_band.parts_below(self.choice.regression, age, value, self.step)
        return np.column_stack([below, gradient])

    def _beside(self, age: Floats, percents: Sequence[int]) -> Floats:
        """The published curves at the age of each cell; beyond every value where the family ends before."""
        ages, at = distinct_ages(age)
        curves = self.choice.value_at(ages, percents)
        beyond = np.where(np.asarray(percents) < 50, -np.inf, np.inf)
        return np.where(np.isnan(curves), beyond, curves)[at]

    @staticmethod
    def sums_of(ages: Floats, people: Floats, terms: Floats, percents: Sequence[int]) -> SumsByAge:
        """Shapes   ages, people: (ages,); terms: (ages, terms), those of `terms` added up."""
        return SumsByAge(ages, people, terms[:, : len(percents)], terms[:, len(percents) :])

    @on_one_thread
    def parts_of_sites(self, sites: Sequence[SumsByAge]) -> list[SitePart]:
        """Each site's part of the fit that is published.

        Shapes   a score is (3·size,) of LMS curves, (percents, size) of regression quantiles.
        Errors   ValueError where no curve is published.
        """
        if self.choice.published == "lms":
            return lms_band.parts_of_sums(self.choice.lms, sites)
        if self.choice.published == "none":
            raise ValueError(f"no curve of {self.measure.name} is published: {self.choice.why}")
        return quantile_curve_band.parts_of_sums(self.choice.regression, sites)

    @on_one_thread
    def band(self, parts: Sequence[SitePart], percents: Sequence[int]) -> tuple[Floats, Floats]:
        """Pointwise band of the published curves at whole_ages, from the spread between sites.

        Shapes   parts: those of parts_of_sites, one a site with people; low, high: (ages, percents).
        Missing  nan where no curve is published, or with fewer than two sites.
        """
        if self.choice.published == "none" or len(parts) < 2:
            nothing = np.full((self.whole_ages.size, len(percents)), np.nan)
            return nothing, nothing
        if self.choice.published == "lms":
            covariance, freedom = lms_band.sandwich_covariance(self.choice.lms, parts)
            return lms_band.percentile_band(self.choice.lms, covariance, self.whole_ages, percents, freedom)
        regression = self.choice.regression
        low, high = quantile_curve_band.quantile_band(regression, parts, self.whole_ages)
        at = regression.position(percents)
        return low[:, at], high[:, at]


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
