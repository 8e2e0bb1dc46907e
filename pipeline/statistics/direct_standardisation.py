"""Direct standardisation: what a prevalence would be if the ages and sexes were those of a standard population."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, ndtri, stdtrit

from pipeline.statistics.clustered_proportion import effective_freedom

Floats = NDArray[np.float64]


def standardised_proportion(count: ArrayLike, people: ArrayLike, weight: ArrayLike) -> Floats:
    """R = Σ w_i x_i/n_i over strata, weights adding to 1.

    Shapes   count, people: (cells, strata) or (strata,); weight: (strata,); out (cells,).
    Units    people; weights of any scale (they are divided by their sum); proportion from 0 to 1.
    Missing  a stratum that carries weight and has nobody measured makes the cell nan: leaving it out would quietly
             change the standard. Merge strata, or withhold the cell.
    Errors   ValueError for a negative weight, weights that add to 0, or a count outside 0 to people.
    Source   Breslow & Day, IARC Sci Publ 82 (1987) ch. 2. Checked in tests/published/test_direct_standardisation.py.
    """
    count, people, share = _checked(count, people, weight)
    return _weighted(share, count / np.where(people > 0, people, np.nan))


def binomial_variance(count: ArrayLike, people: ArrayLike, weight: ArrayLike) -> Floats:
    """Variance of a standardised proportion of people counted one by one: Σ w_i² p_i(1 − p_i)/n_i.

    Shapes, Units, Missing, Errors   as standardised_proportion.
    Source   as standardised_proportion.
    """
    count, people, share = _checked(count, people, weight)
    n = np.where(people > 0, people, np.nan)
    return _weighted(share**2, count / n * (1 - count / n) / n)


def clustered_variance(count: ArrayLike, people: ArrayLike, weight: ArrayLike) -> tuple[Floats, Floats]:
    """Variance of a standardised proportion with sites as primary sampling units, and its degrees of freedom.

    Each site's linearised part is u_k = Σ_i w_i (x_ki − p_i·n_ki)/n_i; v = K/(K − 1) · Σ u_k², df = K − 1.

    Shapes   count, people: (sites, strata), one cell; weight: (strata,); out: two numbers.
    Units    as standardised_proportion.
    Missing  nan with fewer than two sites, or where standardised_proportion is nan.
    Errors   as standardised_proportion.
    Source   Taylor linearisation of a sum of ratios: Korn & Graubard, Analysis of Health Surveys (1999) ch. 2.
             With one stratum it is clustered_proportion's variance (tested).
    """
    count, people, share = _checked(count, people, weight)
    sites = int((people.sum(axis=1) > 0).sum())
    total = people.sum(axis=0)
    n = np.where(total > 0, total, np.nan)
    p = count.sum(axis=0) / n
    part = _weighted(share, (count - p * people) / n)
    variance = sites / (sites - 1) * np.sum(part**2) if sites >= 2 else np.nan
    return np.float64(variance), np.float64(max(sites - 1, 0))


def jackknifed_variance(count: ArrayLike, people: ArrayLike, weight: ArrayLike) -> tuple[Floats, Floats]:
    """clustered_variance by leaving out a site at a time, in one step: it holds where sites are of very unequal size.

    v = (K − 1)/K · Σ (u_k/(1 − a_k))² with a_k = Σ_i w_i n_ki/n_i the site's share of the standardised proportion;
    df = 1/Σ a_k² − 1, at least 1. With one stratum it is clustered_proportion.jackknifed_proportion's (tested).

    Shapes, Units, Missing, Errors   as clustered_variance.
    Source   as jackknifed_proportion. Checked by coverage in tests/benchmarks/coverage_of_standardised.py.
    """
    count, people, share = _checked(count, people, weight)
    sites = int((people.sum(axis=1) > 0).sum())
    if sites < 2:
        return np.float64(np.nan), np.float64(0)
    total = people.sum(axis=0)
    n = np.where(total > 0, total, np.nan)
    away = _weighted(share, (count - count.sum(axis=0) / n * people) / n)
    of_site = _weighted(share, people / n)
    left = away / np.where(of_site < 1, 1 - of_site, 1)
    return np.float64((sites - 1) / sites * np.sum(left**2)), effective_freedom(of_site)[0]


def fay_feuer_interval(
    count: ArrayLike, people: ArrayLike, weight: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Gamma interval of a directly standardised rate; with Poisson counts, so conservative for common bands.

    v = Σ w_i² x_i/n_i², m = max w_i/n_i; low = v/(2R)·χ²_{α/2}(2R²/v), high = (v + m²)/(2(R + m))·
    χ²_{1−α/2}(2(R + m)²/(v + m²)).

    Shapes, Units, Missing, Errors   as standardised_proportion; low is 0 where nobody is in the band.
    Source   Fay & Feuer (1997) Stat Med 16:791-801. Checked in tests/published/test_direct_standardisation.py.
    """
    count, people, share = _checked(count, people, weight)
    n = np.where(people > 0, people, np.nan)
    rate, variance = _weighted(share, count / n), _weighted(share**2, count / n**2)
    widest = np.where(share > 0, share / n, 0).max(axis=1)
    tail = (1 - confidence) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        low = np.where(rate > 0, variance / (2 * rate) * chdtri(2 * rate**2 / variance, 1 - tail), 0)
        above, spread = rate + widest, variance + widest**2
        high = spread / (2 * above) * chdtri(2 * above**2 / spread, tail)
    is_missing = np.isnan(rate)
    return np.where(is_missing, np.nan, low), np.where(is_missing, np.nan, high)


def logit_interval(
    proportion: ArrayLike, variance: ArrayLike, freedom: ArrayLike = np.inf, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Interval of a standardised proportion on the logit scale: it stays inside 0 to 1.

    Shapes   all broadcast to (cells,).
    Units    proportion from 0 to 1; freedom inf for people counted one by one, sites − 1 for a clustered variance.
    Missing  nan where the proportion or variance is nan, and at 0 and 1: use fay_feuer_interval there.
    Source   Korn & Graubard (1998) Surv Methodol 24:193-201, section 2. Checked in
             tests/published/test_direct_standardisation.py.
    """
    p, v, df = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (proportion, variance, freedom)))
    upper = (1 + confidence) / 2
    factor = np.where(np.isinf(df), ndtri(upper), stdtrit(np.where(np.isinf(df) | (df < 1), 1, df), upper))
    with np.errstate(divide="ignore", invalid="ignore"):
        centre, half = np.log(p / (1 - p)), np.where(df >= 1, factor, np.nan) * np.sqrt(v) / (p * (1 - p))
        low, high = 1 / (1 + np.exp(half - centre)), 1 / (1 + np.exp(-half - centre))
    inside = (p > 0) & (p < 1)
    return np.where(inside, low, np.nan), np.where(inside, high, np.nan)


def _checked(count: ArrayLike, people: ArrayLike, weight: ArrayLike) -> tuple[Floats, Floats, Floats]:
    count, people = (
        np.atleast_2d(np.asarray(count, dtype=float)),
        np.atleast_2d(np.asarray(people, dtype=float)),
    )
    weight = np.asarray(weight, dtype=float)
    if np.any(weight < 0) or weight.sum() <= 0:
        raise ValueError(f"weights {weight.tolist()}: none below 0 and a sum above 0 are expected")
    if np.any((count < 0) | (count > people)):
        cell, stratum = np.argwhere((count < 0) | (count > people))[0]
        raise ValueError(
            f"cell {cell}, stratum {stratum}: {count[cell, stratum]:g} in the band of "
            f"{people[cell, stratum]:g} measured"
        )
    return count, people, weight / weight.sum()


def _weighted(weight: Floats, value: Floats) -> Floats:
    """Σ over strata; a stratum without weight does not matter, whatever its value."""
    return np.where(weight > 0, weight * value, 0).sum(axis=1)
