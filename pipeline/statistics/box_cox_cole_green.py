"""The Box-Cox-Cole-Green distribution behind LMS curves: value ↔ z-score, log-density, scores and information.

L is the power that makes the values normal, M their median, S roughly their coefficient of variation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_Z = np.linspace(-5, 5, 61)
_LEAST_INSIDE = 0.02  # 1 + L·S·z under which a point of z counts as beyond the end of the distribution
_SERIES_BELOW = 1e-4  # |L| under which (u^L − 1)/L is expanded: the closed form loses digits there


def z_score(value: ArrayLike, l: ArrayLike, m: ArrayLike, s: ArrayLike) -> Floats:
    """z = ((value/M)^L − 1)/(L·S); ln(value/M)/S at L = 0.

    Shapes   all broadcast together.
    Units    value and M in the measure's unit; z in standard deviations.
    Missing  nan in, nan out.
    Errors   ValueError for a value, M or S that is not above 0.
    Source   Cole & Green (1992) Stat Med 11:1305-1319. Checked in tests/published/test_lms.py.
    """
    value, l, m, s = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (value, l, m, s)))
    for name, given in (("value", value), ("M", m), ("S", s)):
        if np.any(given <= 0):
            raise ValueError(f"{name} of {np.nanmin(given):g}: the Box-Cox family needs {name} above 0")
    return _power_and_slope(np.log(value / m), l)[0] / s


def value_at_z(z: ArrayLike, l: ArrayLike, m: ArrayLike, s: ArrayLike) -> Floats:
    """The value at a z-score: M(1 + L·S·z)^(1/L); M·exp(S·z) at L = 0.

    Shapes   all broadcast together.
    Units    as z_score.
    Missing  nan in, nan out; nan where 1 + L·S·z is 0 or less: the distribution has no such value.
    Errors   ValueError for an M or S that is not above 0.
    Source   as z_score.
    """
    z, l, m, s = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (z, l, m, s)))
    for name, given in (("M", m), ("S", s)):
        if np.any(given <= 0):
            raise ValueError(f"{name} of {np.nanmin(given):g}: the Box-Cox family needs {name} above 0")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(l * s * z > -1, m * np.exp(_log_ratio(s * z, l)), np.nan)


def log_density(log_ratio: Floats, l: Floats, log_s: Floats) -> Floats:
    """Log-density of ln(value/M) up to a term in the value alone: L·ln(value/M) − ln S − z²/2.

    The constant ½ ln 2π, the Jacobian ln value and the truncation term ln Φ(1/(S|L|)) are left out, as is usual.
    """
    z = _power_and_slope(log_ratio, l, with_slope=False)[0] / np.exp(log_s)
    return l * log_ratio - log_s - z**2 / 2


def scores(log_ratio: Floats, l: Floats, log_s: Floats) -> tuple[Floats, Floats, Floats]:
    """Derivatives of the log-density by L, ln M and ln S, each (cells,).

    Source   Rigby & Stasinopoulos (2005) Appl Stat 54:507-554; checked against numeric derivatives in
             tests/statistics/test_box_cox_cole_green.py.
    """
    s = np.exp(log_s)
    power, slope = _power_and_slope(log_ratio, l)
    z = power / s
    by_l = log_ratio - z * slope / s
    by_log_m = z / s + l * (z**2 - 1)
    by_log_s = z**2 - 1
    return by_l, by_log_m, by_log_s


def information(l: Floats, log_s: Floats) -> Floats:
    """Expected information a person about (L, ln M, ln S): the covariance of the scores over the distribution.

    A sum over 61 points of z, renormalised where the distribution ends (1 + L·S·z > 0). The closed form that is usual,
    to the leading order in L·S, is not positive definite from |L·S| = 0.83 on; this is, everywhere.

    Shapes   l, log_s: (ages,); out: (3, 3, ages), symmetric and positive definite.
    Source   Cole & Green (1992), appendix, for the leading order; checked against it and against simulation in
             tests/statistics/test_box_cox_cole_green.py.
    """
    l, log_s = l[:, None], log_s[:, None]
    is_inside = 1 + l * np.exp(log_s) * _Z > _LEAST_INSIDE
    weight = np.where(is_inside, np.exp(-(_Z**2) / 2), 0)
    weight = weight / weight.sum(axis=1, keepdims=True)
    log_ratio = _log_ratio(np.exp(log_s) * np.where(is_inside, _Z, 0), l)
    parts = np.stack(scores(log_ratio, l, log_s), axis=1)  # (ages, 3, points)
    parts = parts - np.sum(weight[:, None] * parts, axis=2, keepdims=True)
    return np.moveaxis((weight[:, None] * parts) @ np.swapaxes(parts, 1, 2), 0, 2)


def _log_ratio(power: Floats, l: Floats) -> Floats:
    """x with (e^(Lx) − 1)/L = power: ln(1 + L·power)/L, and the power itself at L = 0."""
    inside = l * power
    is_small = np.abs(l) < _SERIES_BELOW
    closed = np.log1p(inside) / np.where(is_small, 1.0, l)
    if not np.any(is_small):
        return closed
    return np.where(is_small, power * (1 + inside * (inside / 3 - 1 / 2)), closed)


def _power_and_slope(x: Floats, l: Floats, with_slope: bool = True) -> tuple[Floats, Floats | None]:
    """(e^(Lx) − 1)/L, which is x at L = 0, and its derivative by L: one exponential for both."""
    is_small = np.abs(l) < _SERIES_BELOW
    safe = np.where(is_small, 1.0, l)
    grown = np.expm1(safe * x)
    power = grown / safe
    slope = (x + x * grown - power) / safe if with_slope else None
    if np.any(is_small):
        lx = l * x
        power = np.where(is_small, x * (1 + lx * (1 / 2 + lx / 6)), power)
        if slope is not None:
            slope = np.where(is_small, x**2 * (1 / 2 + lx * (1 / 3 + lx / 8)), slope)
    return power, slope
