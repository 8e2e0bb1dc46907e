"""Whether a prevalence rises or falls over periods, by a test that respects sites and people seen repeatedly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, stdtr, stdtrit

Floats = NDArray[np.float64]

_MOST_STEPS = 50


@dataclass(frozen=True)
class Trend:
    """Change of the log-odds a period with its jackknife standard error, t on `freedom` degrees and two-sided p;
    odds ratio a period with its interval; points_a_period: mean change of the proportion, from 0 to 1."""

    slope: float
    standard_error: float
    freedom: float
    t: float
    p: float
    odds_ratio: float
    low: float
    high: float
    points_a_period: float


def trend_over_periods(
    count: ArrayLike,
    people: ArrayLike,
    period: ArrayLike,
    site: ArrayLike,
    stratum: ArrayLike | None = None,
    confidence: float = 0.95,
) -> Trend:
    """Logistic trend over the number of the period, strata each with their own level, tested between sites.

    The standard error is the delete-a-site jackknife, one Newton step a site: it holds for any likeness of people
    within a site, in one period or over several, so a person seen again and again does not count as news. Someone
    who changes site is taken as two people. t on (Σ a)²/Σ a² − 1 degrees, a a site's share of the information on
    the slope: sites − 1 when they are alike, fewer when a few large sites carry the trend.

    Shapes   count, people, period, site, stratum: (cells,); site and stratum are labels.
    Units    people; period as consecutive numbers; slope a period.
    Missing  cells with nobody do not count; strata without any, or with everybody, in the band say nothing of a
             trend and are left out. Sites that are exactly alike have standard error 0, and t and p nan.
    Errors   ValueError for a count outside 0 to people, fewer than two sites or periods, or no one or everyone in
             the band.
    Source   Liang & Zeger (1986) Biometrika 73:13-22 for the sandwich; Bell & McCaffrey (2002) Surv Methodol
             28:169-181 for the jackknife form (CR3) with few sites; Carter, Schnepel & Steigerwald (2017) Rev Econ
             Stat 99:698-709 for the effective number of sites, from memory. Checked in tests/published/test_trend.py.
    """
    x, n, t = (np.asarray(a, dtype=float) for a in (count, people, period))
    site, stratum = np.asarray(site), np.zeros(x.size) if stratum is None else np.asarray(stratum)
    if np.any((x < 0) | (x > n)):
        i = int(np.argmax((x < 0) | (x > n)))
        raise ValueError(f"cell {i}: {x[i]:g} in the band of {n[i]:g} measured")
    kept = n > 0
    for level in np.unique(stratum):
        here = stratum == level
        kept &= ~here | (0 < x[here].sum() < n[here].sum())
    x, n, t, site, stratum = x[kept], n[kept], t[kept], site[kept], stratum[kept]
    sites, at = np.unique(site, return_inverse=True)
    if sites.size < 2 or np.unique(t).size < 2:
        raise ValueError(
            f"{sites.size} sites and {np.unique(t).size} periods with anything to tell: "
            "two of each are needed"
        )
    levels = np.unique(stratum)
    design = np.column_stack([t - t.mean(), stratum[:, None] == levels])
    beta, spread = _logistic(design, x, n)
    error, freedom = _jackknife(design, x, n, beta, at, sites.size)
    score = beta[0] / error if error > 0 else np.nan
    half = float(stdtrit(freedom, (1 + confidence) / 2)) * error
    return Trend(
        float(beta[0]),
        float(error),
        freedom,
        float(score),
        float(2 * stdtr(freedom, -abs(score))),
        *(float(np.exp(b)) for b in (beta[0], beta[0] - half, beta[0] + half)),
        float(beta[0] * spread.sum() / n.sum()),
    )


def _logistic(design: Floats, x: Floats, n: Floats) -> tuple[Floats, Floats]:
    """Newton's method. Returns coefficients and n·μ(1 − μ) of each cell."""
    beta = np.concatenate([[0.0], np.full(design.shape[1] - 1, logit(x.sum() / n.sum()))])
    for _ in range(_MOST_STEPS):
        mean = expit(design @ beta)
        spread = n * mean * (1 - mean)
        try:
            step = np.linalg.solve((design * spread[:, None]).T @ design, design.T @ (x - n * mean))
        except np.linalg.LinAlgError:
            break
        beta = beta + step
        if np.max(np.abs(step)) < 1e-10:
            return beta, spread
    raise ValueError("no finite trend: the band is empty before, and full after, some period")


def _jackknife(
    design: Floats, x: Floats, n: Floats, beta: Floats, at: NDArray[np.int64], sites: int
) -> tuple[float, float]:
    """Standard error of the slope when each site in turn is left out, one Newton step from the whole; its degrees."""
    mean = expit(design @ beta)
    spread = n * mean * (1 - mean)
    terms = design.shape[1]
    gradient, information = np.zeros((sites, terms)), np.zeros((sites, terms, terms))
    np.add.at(gradient, at, design * (x - n * mean)[:, None])
    np.add.at(information, at, design[:, :, None] * design[:, None, :] * spread[:, None, None])
    whole = information.sum(axis=0)
    away = np.array(
        [
            np.linalg.lstsq(whole - own, vector, rcond=None)[0][0]  # a site may be alone in a stratum
            for own, vector in zip(information, gradient, strict=True)
        ]
    )
    error = np.sqrt((sites - 1) / sites * np.sum(away**2))
    on_slope = np.linalg.inv(whole)[0]
    share = np.einsum("i,kij,j->k", on_slope, information, on_slope)
    with np.errstate(invalid="ignore"):  # no site tells anything of the slope: nan
        return float(error), float(max(share.sum() ** 2 / np.sum(share**2) - 1, 1))
