"""Fitted age curves → the published tables: which curve and why, the curves themselves, and how well they fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import chdtri, ndtri

from pipeline.statistics.age_group import AgeGroups, ages_reported
from pipeline.statistics.curve_coverage import below_in_groups, share_below
from pipeline.statistics.fitted_curve import FittedCurve
from pipeline.statistics.one_thread import on_one_thread
from pipeline.statistics.q_statistics import MOMENTS, q_statistics
from pipeline.statistics.site_part import SumsByAge
from pipeline.statistics.worm_plot import worm_plot

Floats = NDArray[np.float64]

METHODS = {"lms": "lms", "regression_quantile": "regression quantile", "none": "none"}

_CURVES = {
    "lms": "LMS on splines of age, smoothness by restricted likelihood",
    "regression_quantile": "regression quantiles on splines of age, put in order where they cross",
}

CURVE_SCHEMA = {
    "measure": pl.String,
    "unit": pl.String,
    "sex": pl.String,
    "n": pl.Int64,
    "age_from": pl.Int16,
    "age_to": pl.Int16,
    "method": pl.String,
    "why": pl.String,
    "flag": pl.String,
}
PERCENTILE_SCHEMA = {
    "measure": pl.String,
    "unit": pl.String,
    "sex": pl.String,
    "age": pl.Int16,
    "percentile": pl.Int16,
    "value": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "n": pl.Int64,
    "method": pl.String,
    "flag": pl.String,
}
DIAGNOSTIC_SCHEMA = {
    "measure": pl.String,
    "sex": pl.String,
    "age_from": pl.Int16,
    "age_to": pl.Int16,
    "diagnostic": pl.String,
    "at": pl.Float64,
    "observed": pl.Float64,
    "expected": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "n": pl.Int64,
    "flag": pl.String,
}


@on_one_thread
def curve_row(curve: FittedCurve, least_people: int) -> tuple[Any, ...]:
    """One row of result.curve: which method is published, from where to where, and why.

    Units    age_from and age_to: the first and last age with least_people people within two years of it.
    Missing  ages are null where no curve is drawn.
    """
    near, whole = curve.people_near(), curve.whole_ages
    drawn = whole[(near >= least_people) & np.isfinite(_median(curve))]
    span = (int(drawn[0]), int(drawn[-1])) if drawn.size else (None, None)
    measure = curve.measure
    method = METHODS[curve.choice.published]
    return (measure.name, measure.unit, curve.sex, curve.people, *span, method, curve.choice.why, None)


def _median(curve: FittedCurve) -> Floats:
    return curve.choice.value_at(curve.whole_ages, [50])[:, 0]


@on_one_thread
def percentile_curve_rows(
    curve: FittedCurve, sites: Sequence[SumsByAge], percents: Sequence[int]
) -> pl.DataFrame:
    """The published curves at whole ages, with their bands. sites: the sums of each site that has people.

    Shapes   out: columns of result.percentile_curve, one row an age at which the measure applies and a percentile.
    Units    value, low and high in the measure's unit, to a tenth of a print step; n people within two years of age.
    Missing  value is null outside the ages measured; limits are null where there is no band. No rows without a curve.
    """
    if curve.choice.published == "none":
        return pl.DataFrame(schema=PERCENTILE_SCHEMA)
    measure, ages = curve.measure, curve.whole_ages
    value = curve.choice.value_at(ages, percents)
    low, high = curve.band(curve.parts_of_sites(sites) if sites else [], percents)
    figures = {
        name: np.round(part, measure.decimals + 1).ravel()
        for name, part in (("value", value), ("low", low), ("high", high))
    }
    return pl.DataFrame(
        {
            "measure": measure.name,
            "unit": measure.unit,
            "sex": curve.sex,
            "age": np.repeat(ages, len(percents)),
            "percentile": np.tile(percents, ages.size),
            **figures,
            "n": np.repeat(curve.people_near(), len(percents)),
            "method": _method(curve, len(sites)),
            "flag": None,
        },
        schema=PERCENTILE_SCHEMA,
    ).with_columns(pl.col("value", "low", "high").fill_nan(None))


def _method(curve: FittedCurve, sites: int) -> str:
    method = _CURVES[curve.choice.published]
    return f"{method}; band from {sites} sites as clusters" if sites >= 2 else f"{method}; one site: no band"


@on_one_thread
def diagnostic_rows(
    curve: FittedCurve, age_groups: AgeGroups, percents: Sequence[int], sites: Sequence[SumsByAge] = ()
) -> pl.DataFrame:
    """How well the published curves fit, by age group. sites: the sums of each.

    share_below  at: the percentile; observed share below its curve with its interval, beside the expected one.
    worm         at: a normal score; observed less theoretical quantile of the z-scores, expected 0, and the band of
                 a good fit. q: at 1 to 4 for mean, variance, skewness and kurtosis; the moment's normal score,
                 expected 0, within ±1.96; over all ages the sum of squares beside its degrees of freedom and the
                 95 % point of χ². Both for LMS curves only: the other method gives no z-scores.

    Shapes   out: columns of result.curve_diagnostic; sorted by diagnostic, age and at. Age groups must not overlap.
    Missing  as share_below, worm_plot and q_statistics. No rows without a curve. Without sites the interval of a share
             takes people one by one.
    """
    if curve.choice.published == "none":
        return pl.DataFrame(schema=DIAGNOSTIC_SCHEMA)
    groups = diagnostic_groups(curve, age_groups)
    of = sites or [curve.summed(curve.age, curve.value, curve.n, percents)]
    below = [below_in_groups(sums.ages, sums.people, sums.below, groups) for sums in of]
    parts = [_shares(share_below(below, percents, groups))]
    if curve.choice.published == "lms" and curve.choice.lms is not None:
        age, value, n = curve.spread(curve.age, curve.value, curve.n)
        z = curve.choice.lms.z_score(age, value)
        parts += [_worms(age, z, n, groups), _q(age, z, n, groups, tuple(curve.choice.lms.freedom))]
    return pl.concat(
        part.with_columns(
            pl.lit(curve.measure.name).alias("measure"),
            pl.lit(curve.sex).alias("sex"),
            pl.lit(None, dtype=pl.String).alias("flag"),
            pl.col("observed", "expected", "low", "high").fill_nan(None),
        )
        .select(pl.col(name).cast(kind) for name, kind in DIAGNOSTIC_SCHEMA.items())
        .sort("age_from", "age_to", "at")
        for part in parts
    )


def diagnostic_groups(curve: FittedCurve, age_groups: AgeGroups) -> AgeGroups:
    """The age groups in which the fit of a curve is told."""
    return ages_reported(age_groups, curve.measure.age_from, curve.measure.age_to)


def _shares(found: pl.DataFrame) -> pl.DataFrame:
    return found.rename({"percent": "at"}).with_columns(diagnostic=pl.lit("share_below"))


def _worms(age: Floats, z: Floats, n: Floats, groups: AgeGroups) -> pl.DataFrame:
    found = worm_plot(age, z, n, groups).rename({"score": "at", "deviation": "observed"})
    return found.with_columns(diagnostic=pl.lit("worm"), expected=pl.lit(0.0))


def _q(
    age: Floats, z: Floats, n: Floats, groups: AgeGroups, freedom: tuple[float, float, float]
) -> pl.DataFrame:
    found = q_statistics(age, z, n, groups, freedom)
    edge = float(ndtri(0.975))
    rows = [
        (low, high, float(at), float(score), 0.0, -edge, edge, people)
        for low, high, people, *scores in found.groups.rows()
        for at, score in enumerate(scores, start=1)
    ]
    if found.groups.height > 1:
        whole = (found.groups["age_from"].min(), found.groups["age_to"].max())
        rows += [
            (
                *whole,
                float(MOMENTS.index(moment) + 1),
                q,
                of,
                None,
                float(chdtri(of, 0.05)),
                found.groups["n"].sum(),
            )
            for moment, q, of, _ in found.tests.rows()
            if of > 0  # the curves bend more often than there are age groups: nothing is left to test
        ]
    schema = {name: DIAGNOSTIC_SCHEMA[name] for name in ("age_from", "age_to", "at", "observed", "expected", "low",
                                                         "high", "n")}  # fmt: skip
    return pl.DataFrame(rows, schema=schema, orient="row").with_columns(diagnostic=pl.lit("q"))
