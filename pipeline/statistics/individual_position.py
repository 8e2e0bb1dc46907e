"""Where one person's value stands on the published percentile curves, and which value stands at a percentile.

The function of (measure, sex, age, value), both directions, needs nothing but the published table percentile_curve:
whoever holds a release can use it, and it tells no more than the release does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize_scalar
from scipy.special import ndtr, ndtri

from pipeline.statistics.box_cox_cole_green import value_at_z, z_score

Floats = NDArray[np.float64]

_POWERS = (-12.0, 12.0)  # where L is looked for
_ROUNDING = 1e-12  # what a value may lose between one direction and the other
_FEWEST = 3  # percentiles with a value: the median and one to either side


@dataclass(frozen=True)
class CurveAtAge:
    """The published percentiles of one measure and sex at one age: percents and values, (any,), ascending."""

    percents: Floats
    values: Floats
    is_lms: bool

    def z_score(self, value: ArrayLike) -> Floats:
        """z-scores of values. Shapes: (any,) → (any,).

        LMS curves: by L, M and S recovered from the published percentiles, so also beyond the outermost of them.
        Regression quantiles, which know no family: by monotone interpolation of z between neighbouring percentiles.

        Missing  nan beyond the outermost percentiles of regression quantiles, for a value that is not above 0 on LMS
                 curves, and everywhere when fewer than three percentiles have a value.
        Source   Cole & Green (1992) Stat Med 11:1305-1319; interpolation: Fritsch & Carlson (1980) SIAM J Numer Anal
                 17:238-246. Checked against the fits themselves in tests/statistics/test_individual_position.py.
        """
        value = np.atleast_1d(np.asarray(value, dtype=float))
        if self.values.size < _FEWEST:
            return np.full(value.shape, np.nan)
        lms = self._lms()
        if lms is None:
            return _interpolated(value, self.values, ndtri(self.percents / 100))
        return z_score(np.where(value > 0, value, np.nan), *lms)

    def percentile_of(self, value: ArrayLike) -> Floats:
        """Percent of people of the age and sex below each value, 0 to 100. Shapes, Missing: as z_score."""
        return 100 * ndtr(self.z_score(value))

    def value_at(self, percent: ArrayLike) -> Floats:
        """The value at each percent. Shapes: (any,) → (any,).

        Missing  as z_score, and nan where the family has no such value.
        Errors   ValueError for a percent that is not between 0 and 100.
        """
        percent = np.atleast_1d(np.asarray(percent, dtype=float))
        if np.any((percent <= 0) | (percent >= 100)):
            raise ValueError(f"percent {percent.tolist()}: numbers between 0 and 100 are expected")
        if self.values.size < _FEWEST:
            return np.full(percent.shape, np.nan)
        lms = self._lms()
        if lms is None:
            return _interpolated(ndtri(percent / 100), ndtri(self.percents / 100), self.values)
        return value_at_z(ndtri(percent / 100), *lms)

    def _lms(self) -> tuple[float, float, float] | None:
        """L, M and S that reproduce the published percentiles: M is the median, L leaves least of the z-scores over.

        Missing  None where the curves are not LMS, or the median or a side of it is withheld.
        """
        z = ndtri(self.percents / 100)
        middle = np.flatnonzero(self.percents == 50)
        if not self.is_lms or middle.size == 0 or not (z.min() < 0 < z.max()):
            return None
        m = float(self.values[middle[0]])

        def spread(l: float) -> float:
            scaled = z_score(self.values, l, m, 1.0)
            return float(scaled @ z / (z @ z))

        def left_over(l: float) -> float:
            return float(np.sum((z_score(self.values, l, m, spread(l)) - z) ** 2))

        l = float(minimize_scalar(left_over, bounds=_POWERS, method="bounded", options={"xatol": 1e-6}).x)
        return l, m, spread(l)


def curve_at(curves: pl.DataFrame, measure: str, sex: str, age: int) -> CurveAtAge:
    """The published curve of one measure and sex at one age.

    Shapes   curves: columns of percentile_curve: measure, sex, age, percentile, value, method.
    Missing  a curve without percentiles where none are published there.
    """
    here = curves.filter(measure=measure, sex=sex, age=age).drop_nulls("value").sort("percentile")
    is_lms = here.height > 0 and here["method"].str.starts_with("LMS").all()
    return CurveAtAge(
        here["percentile"].cast(pl.Float64).to_numpy(), here["value"].cast(pl.Float64).to_numpy(), bool(is_lms)
    )


def individual_positions(curves: pl.DataFrame, people: pl.DataFrame) -> pl.DataFrame:
    """z-score and percentile of every row of (measure, sex, age, value); or its value, from (…, percentile).

    Shapes   curves: as curve_at. people: columns measure, sex, age and either value or percentile; out: the same rows
             in the same order with z and percentile, or z and value, beside them.
    Units    age in whole years; value in the measure's unit; percentile from 0 to 100.
    Missing  null where no curve is published, and as CurveAtAge.z_score.
    Errors   ValueError when people have both or neither of value and percentile.
    """
    given, asked = ("value", "percentile") if "value" in people.columns else ("percentile", "value")
    if given not in people.columns or asked in people.columns:
        raise ValueError("either value or percentile is expected: the other is what is asked for")
    numbered = people.with_row_index("row")
    parts = []
    for (measure, sex, age), part in numbered.group_by("measure", "sex", "age", maintain_order=True):
        curve = curve_at(curves, measure, sex, age)
        known = part[given].cast(pl.Float64).to_numpy()
        z = curve.z_score(known) if given == "value" else ndtri(known / 100)
        found = 100 * ndtr(z) if given == "value" else curve.value_at(known)
        z = np.where(np.isnan(found), np.nan, z)
        parts.append(part.with_columns(pl.Series("z", z), pl.Series(asked, found)))
    if not parts:
        return people.with_columns(*(pl.lit(None, dtype=pl.Float64).alias(name) for name in ("z", asked)))
    return pl.concat(parts).sort("row").drop("row").with_columns(pl.col("z", asked).fill_nan(None))


def _interpolated(at: Floats, known: Floats, value: Floats) -> Floats:
    """Monotone cubic interpolation, nan outside what is known; curves that touch count once, at the higher place."""
    last = np.append(np.diff(known) > 0, True)
    known, value = known[last], value[last]
    if known.size < 2:
        return np.full(at.shape, np.nan)
    for end in (known[0], known[-1]):  # the outermost percentile's own value, there and back, is still on the curve
        at = np.where(np.isclose(at, end, rtol=_ROUNDING, atol=_ROUNDING), end, at)
    return PchipInterpolator(known, value, extrapolate=False)(at)
