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
    return _power(np.log(value / m), l) / s


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
    inside = l * s * z
    is_small = np.abs(l) < _SERIES_BELOW
    with np.errstate(divide="ignore", invalid="ignore"):
        series = s * z * (1 - inside / 2 + inside**2 / 3)
        log_ratio = np.where(is_small, series, np.log1p(inside) / np.where(l == 0, 1, l))
    return np.where(inside > -1, m * np.exp(log_ratio), np.nan)


def log_density(log_ratio: Floats, l: Floats, log_s: Floats) -> Floats:
    """Log-density of ln(value/M) up to a term in the value alone: L·ln(value/M) − ln S − z²/2.

    The constant ½ ln 2π, the Jacobian ln value and the truncation term ln Φ(1/(S|L|)) are left out, as is usual.
    """
    z = _power(log_ratio, l) / np.exp(log_s)
    return l * log_ratio - log_s - z**2 / 2


def scores(log_ratio: Floats, l: Floats, log_s: Floats) -> tuple[Floats, Floats, Floats]:
    """Derivatives of the log-density by L, ln M and ln S, each (cells,).

    Source   Rigby & Stasinopoulos (2005) Appl Stat 54:507-554; checked against numeric derivatives in
             tests/statistics/test_box_cox_cole_green.py.
    """
    s = np.exp(log_s)
    z = _power(log_ratio, l) / s
    by_l = log_ratio - z * _power_slope(log_ratio, l) / s
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
    inside = 1 + (l * np.exp(log_s))[:, None] * _Z
    weight = np.where(inside > _LEAST_INSIDE, np.exp(-(_Z**2) / 2), 0)
    weight = weight / weight.sum(axis=1, keepdims=True)
    safe = np.where(inside > _LEAST_INSIDE, _Z, 0)
    log_ratio = np.log(value_at_z(safe, l[:, None], 1.0, np.exp(log_s)[:, None]))
    parts = np.array(scores(log_ratio, l[:, None], log_s[:, None]))
    parts = parts - (weight * parts).sum(axis=2, keepdims=True)
    return np.einsum("jaz,kaz,az->jka", parts, parts, weight)


def _power(x: Floats, l: Floats) -> Floats:
    """(e^(Lx) − 1)/L, and x at L = 0."""
    is_small = np.abs(l) < _SERIES_BELOW
    safe = np.where(is_small, 1.0, l)
    return np.where(is_small, x + l * x**2 / 2 + l**2 * x**3 / 6, np.expm1(safe * x) / safe)


def _power_slope(x: Floats, l: Floats) -> Floats:
    """The derivative of _power by L."""
    is_small = np.abs(l) < _SERIES_BELOW
    safe = np.where(is_small, 1.0, l)
    closed = (x * np.exp(safe * x) - np.expm1(safe * x) / safe) / safe
    return np.where(is_small, x**2 / 2 + l * x**3 / 3 + l**2 * x**4 / 8, closed)
