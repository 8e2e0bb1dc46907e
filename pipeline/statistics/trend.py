"""Whether a prevalence rises or falls over periods, by a test that respects sites and people seen repeatedly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, stdtr, stdtrit

from pipeline.statistics.one_thread import on_one_thread

Floats = NDArray[np.float64]

_MOST_STEPS = 50
_ROUNDING = 1e-12  # of the standard error of people counted one by one: sites that differ by less are alike
_LEAST_LEFT = 1e-9  # of the information on the slope: under it a site left out leaves nothing to solve


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


@on_one_thread
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
    levels, stratum = np.unique(stratum, return_inverse=True)
    t = t - t.mean()
    slope, level = _logistic(t, stratum, x, n, levels.size)
    mean = expit(slope * t + level[stratum])
    spread = n * mean * (1 - mean)
    error, freedom = _jackknife(t, stratum, at, x - n * mean, spread, (sites.size, levels.size))
    score = slope / error if error > 0 else np.nan
    half = float(stdtrit(freedom, (1 + confidence) / 2)) * error
    return Trend(
        float(slope),
        float(error),
        freedom,
        float(score),
        float(2 * stdtr(freedom, -abs(score))),
        *(float(np.exp(b)) for b in (slope, slope - half, slope + half)),
        float(slope * spread.sum() / n.sum()),
    )


@dataclass(frozen=True)
class _Information:
    """Of a slope and one level a stratum: an arrow, since a cell is in one stratum. Of some sites, one row each.

    slope (sites,), cross (sites, strata) and level (sites, strata): Σ s·t², Σ s·t and Σ s over cells, s = n·μ(1 − μ).
    """

    slope: Floats
    cross: Floats
    level: Floats

    @classmethod
    def of(cls, t: Floats, spread: Floats, at: NDArray[np.int64], shape: tuple[int, int]) -> _Information:
        """at: each cell's site and stratum as one number, site × strata + stratum."""
        level, cross, square = (
            np.bincount(at, weight, shape[0] * shape[1]).reshape(shape)
            for weight in (spread, spread * t, spread * t**2)
        )
        return cls(square.sum(axis=1), cross, level)

    def less(self, other: _Information) -> _Information:
        return _Information(self.slope - other.slope, self.cross - other.cross, self.level - other.level)

    def over_level(self, value: Floats) -> Floats:
        """value / level, 0 in a stratum without information."""
        return np.divide(value, self.level, out=np.zeros_like(value), where=self.level > 0)

    @property
    def left(self) -> Floats:
        """Information on the slope once the levels are known. Shape (sites,)."""
        return self.slope - np.sum(self.over_level(self.cross**2), axis=1)

    def matrix(self, site: int) -> Floats:
        """One site's information as it is usually written. Shape (1 + strata, 1 + strata)."""
        found = np.diag(np.append(self.slope[site], self.level[site]))
        found[0, 1:] = found[1:, 0] = self.cross[site]
        return found

    def solved_slope(self, of_slope: Floats, of_level: Floats) -> Floats:
        """The slope's part of information⁻¹·gradient. Shapes: of_slope (sites,), of_level (sites, strata)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return (of_slope - np.sum(self.over_level(self.cross * of_level), axis=1)) / self.left


def _logistic(
    t: Floats, stratum: NDArray[np.int64], x: Floats, n: Floats, strata: int
) -> tuple[float, Floats]:
    """Newton's method. Returns the slope and the level of each stratum."""
    slope, level = 0.0, np.full(strata, logit(x.sum() / n.sum()))
    for _ in range(_MOST_STEPS):
        mean = expit(slope * t + level[stratum])
        spread, away = n * mean * (1 - mean), x - n * mean
        whole = _Information.of(t, spread, stratum, (1, strata))
        of_level = np.bincount(stratum, away, strata)
        step = whole.solved_slope(np.array([away @ t]), of_level[None])[0]
        steps = whole.over_level((of_level - whole.cross[0] * step)[None])[0]
        if not (np.isfinite(step) and np.all(whole.level > 0)):
            break
        slope, level = slope + step, level + steps
        if max(abs(step), np.max(np.abs(steps))) < 1e-10:
            return float(slope), level
    raise ValueError("no finite trend: the band is empty before, and full after, some period")


def _jackknife(
    t: Floats,
    stratum: NDArray[np.int64],
    site: NDArray[np.int64],
    away: Floats,
    spread: Floats,
    shape: tuple[int, int],
) -> tuple[float, float]:
    """Standard error of the slope when each site in turn is left out, one Newton step from the whole; its degrees.

    Shapes   t, stratum, site, away (observed less expected) and spread: (cells,); shape: (sites, strata).
    """
    sites, at = shape[0], site * shape[1] + stratum
    own = _Information.of(t, spread, at, shape)
    whole = _Information(*(part.sum(axis=0, keepdims=True) for part in (own.slope, own.cross, own.level)))
    rest = whole.less(own)
    of_slope = np.bincount(site, away * t, sites)
    of_level = np.bincount(at, away, shape[0] * shape[1]).reshape(shape)
    moved = rest.solved_slope(of_slope, of_level)  # a site may be alone in a stratum: that has no level then
    for k in np.flatnonzero(rest.left <= _LEAST_LEFT * whole.left):
        gradient = np.append(of_slope[k], of_level[k])
        moved[k] = np.linalg.lstsq(rest.matrix(k), gradient, rcond=None)[0][0]
    error = np.sqrt((sites - 1) / sites * np.sum(moved**2))
    error = error if error > _ROUNDING / np.sqrt(whole.left[0]) else 0.0
    through = whole.over_level(whole.cross)
    share = (
        own.slope - 2 * np.sum(through * own.cross, axis=1) + np.sum(through**2 * own.level, axis=1)
    ) / whole.left**2
    with np.errstate(invalid="ignore"):  # no site tells anything of the slope: nan
        return float(error), float(max(share.sum() ** 2 / np.sum(share**2) - 1, 1))
