"""How much sites really differ: the variance between them after the variance within them is taken off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, ndtri


@dataclass(frozen=True)
class Heterogeneity:
    """Mean over sites with its standard error and interval; τ² between sites; Q with its p; I² and H²."""

    mean: float
    standard_error: float
    low: float
    high: float
    between_variance: float
    q: float
    freedom: int
    p: float
    i_squared: float
    h_squared: float


def dersimonian_laird(value: ArrayLike, variance: ArrayLike, confidence: float = 0.95) -> Heterogeneity:
    """Moment estimate of τ² and the random-effects mean.

    Q = Σ w(y − ȳ_w)², w = 1/v; τ² = max(0, (Q − (k − 1))/(Σw − Σw²/Σw)); I² = max(0, (Q − df)/Q).

    Shapes   value, variance: (sites,).
    Units    value in any unit, variance in its square; I² from 0 to 1.
    Missing  a site whose value or variance is nan is left out.
    Errors   ValueError for fewer than two sites or a variance that is not above 0.
    Source   DerSimonian & Laird (1986) Control Clin Trials 7:177-188; Higgins & Thompson (2002) Stat Med 21:1539-1558.
             Checked in tests/published/test_heterogeneity.py.
    """
    y, v = np.asarray(value, dtype=float), np.asarray(variance, dtype=float)
    kept = ~(np.isnan(y) | np.isnan(v))
    y, v = y[kept], v[kept]
    if y.size < 2 or np.any(v <= 0):
        raise ValueError(
            f"{y.size} sites, smallest variance {v.min() if v.size else np.nan:g}: "
            "two sites or more with variances above 0 are expected"
        )
    w, df = 1 / v, y.size - 1
    fixed = w @ y / w.sum()
    q = float(w @ (y - fixed) ** 2)
    between = max(0.0, (q - df) / (w.sum() - np.sum(w**2) / w.sum()))
    w = 1 / (v + between)
    mean, error = float(w @ y / w.sum()), float(np.sqrt(1 / w.sum()))
    half = float(ndtri((1 + confidence) / 2)) * error
    return Heterogeneity(
        mean,
        error,
        mean - half,
        mean + half,
        float(between),
        q,
        df,
        float(chdtrc(df, q)),
        max(0.0, (q - df) / q) if q > 0 else 0.0,
        q / df,
    )
