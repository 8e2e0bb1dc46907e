"""Every site beside all of them, age and sex taken into account: value, funnel, score, shrunken value.

Nothing here ranks sites. A site outside a funnel differs from what its size lets chance explain; why it differs, and
whether that is good or bad, the figures do not say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import bdtr, chdtrc, ndtr, ndtri, stdtr

from pipeline.statistics.empirical_bayes import shrink
from pipeline.statistics.false_discovery import benjamini_hochberg
from pipeline.statistics.funnel import SHARES, exact_limits
from pipeline.statistics.heterogeneity import Heterogeneity, dersimonian_laird
from pipeline.statistics.indirect_standardisation import expected_count, ratio_interval, standardised_ratio
from pipeline.statistics.overdispersion import overdispersion
from pipeline.statistics.standardised_mean import adjusted_difference

Floats = NDArray[np.float64]

CLEAR = 0.10  # p below which sites differ more than chance makes them, and the funnel is widened
FEWEST_TO_SHRINK = 4
WINSORISED = 0.15  # three of 24 sites that differ on the same side must not set the scale
_Z = float(ndtri(0.975))
_CLIP = float(ndtri(1 - WINSORISED))
# The variance of a standard normal score drawn in to its 15 % and 85 % quantiles: 0.537.
_CLIPPED_VARIANCE = (
    1
    - 2 * WINSORISED
    - 2 * _CLIP * float(np.exp(-(_CLIP**2) / 2) / np.sqrt(2 * np.pi))
    + 2 * WINSORISED * _CLIP**2
)


@dataclass(frozen=True)
class Comparison:
    """All (sites,) but for reference and the last three. Ratios are nan for means.

    funnel: (sites, 4): 99.8 % and 95 % lower, 95 % and 99.8 % upper limits. is_widened: the funnel and the scores
    allow for differences between ordinary sites.
    """

    value: Floats
    low: Floats
    high: Floats
    reference: float
    expected: Floats
    ratio: Floats
    ratio_low: Floats
    ratio_high: Floats
    funnel: Floats
    score: Floats
    q_value: Floats
    shrunken: Floats
    shrunken_low: Floats
    shrunken_high: Floats
    is_widened: bool
    dispersion: float
    heterogeneity: Heterogeneity | None


def compare_proportions(count: ArrayLike, people: ArrayLike) -> Comparison:
    """Sites' standardised proportions of one band.

    Expected people E_i are the site's people at the proportions of all sites together, stratum by stratum; the ratio
    is O_i/E_i, the standardised proportion the ratio times the proportion of all. Intervals are Wilson's for O_i of
    n_i, carried over. The funnel is exact binomial about E_i/n_i; where sites clearly differ (p < 0.10) it is normal
    with the variance between sites added. Scores have mean 0 and standard deviation 1 for a site like the others.

    Shapes   count, people: (sites, strata), strata by sex and age group.
    Units    people; proportions from 0 to 1.
    Missing  a site without people, and everything but value, when nobody or everybody of all sites is in the band:
             nan. Fewer than four sites: no shrunken values.
    Errors   ValueError for a count outside 0 to people.
    Source   Spiegelhalter (2005) Stat Med 24:1185-1202 and Qual Saf Health Care 14:347-351; Breslow & Day (1987)
             ch. 2; Morris (1983) for the shrunken values. The parts are checked in tests/published/, the whole in
             tests/statistics/test_compared_sites.py and tests/benchmarks/site_flag_simulation.py.
    """
    count, people = np.asarray(count, dtype=float), np.asarray(people, dtype=float)
    if np.any((count < 0) | (count > people)):
        site, stratum = np.argwhere((count < 0) | (count > people))[0]
        raise ValueError(
            f"site {site}, stratum {stratum}: {count[site, stratum]:g} in the band of {people[site, stratum]:g}"
        )
    every = people.sum(axis=0)
    share = np.divide(count.sum(axis=0), every, out=np.full(every.shape, np.nan), where=every > 0)
    observed, n = count.sum(axis=1), people.sum(axis=1)
    expected = np.where(n > 0, expected_count(people, share), np.nan)
    total = every.sum()
    reference = float(observed.sum() / total) if total else np.nan
    ratio = standardised_ratio(observed, expected)
    low, high = ratio_interval(observed, n, expected)
    scale = np.divide(n, expected, out=np.full(n.shape, np.nan), where=expected > 0)
    variance = np.where(people > 0, people * share * (1 - share), 0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = reference * np.sqrt(variance) / expected
    error = np.where(error > 0, error, np.nan)
    value = np.minimum(np.where(np.isnan(ratio) & (n > 0), reference, ratio * reference), 1)
    dispersion, between = _dispersion(value, reference, error)
    if between > 0:
        funnel = np.clip(_normal_funnel(reference, error, between), 0, 1)
        score = (value - reference) / np.sqrt(error**2 + between)
    else:
        funnel = np.clip(_exact_funnel(expected, n) * (scale * reference)[:, None], 0, 1)
        score = np.where(np.isnan(error), np.nan, _exact_score(observed, n, expected))
    return Comparison(
        value,
        np.clip(low * reference, 0, 1),
        np.clip(high * reference, 0, 1),
        reference,
        expected,
        ratio,
        low,
        high,
        funnel,
        score,
        benjamini_hochberg(_p(score, between)),
        *(np.clip(part, 0, 1) for part in _shrunken(value, error)),
        between > 0,
        dispersion,
        _heterogeneity(value, error, 0.0, 1.0),
    )


def compare_means(n: ArrayLike, total: ArrayLike, sum_of_squares: ArrayLike) -> Comparison:
    """Sites' standardised means of one measure: the mean of all plus the site's adjusted difference.

    Shapes   n, total, sum_of_squares: (sites, strata).
    Units    people; total in the measure's unit, squares in its square.
    Missing  a site that shares no stratum with another is nan. Fewer than four sites: no shrunken values.
    Source   standardised_mean.adjusted_difference; the rest as compare_proportions. Intervals by coverage in
             tests/benchmarks/coverage_of_sites.py.
    """
    n, total = np.asarray(n, dtype=float), np.asarray(total, dtype=float)
    found = adjusted_difference(n, total, sum_of_squares)
    reference = float(total.sum() / n.sum()) if n.sum() else np.nan
    value, error = (
        reference + found.difference,
        np.where(found.standard_error > 0, found.standard_error, np.nan),
    )
    dispersion, between = _dispersion(value, reference, error)
    score = found.difference / np.sqrt(error**2 + between)
    people = n.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = total.sum(axis=1) / np.where(people > 0, people, np.nan) - found.difference
    nothing = np.full(people.shape, np.nan)
    return Comparison(
        value,
        value - _Z * found.level_error,
        value + _Z * found.level_error,
        reference,
        expected,
        nothing,
        nothing,
        nothing,
        _normal_funnel(reference, error, between),
        score,
        benjamini_hochberg(_p(score, between)),
        *_shrunken(value, error),
        between > 0,
        dispersion,
        _heterogeneity(value, error),
    )


def _dispersion(value: Floats, reference: float, error: Floats) -> tuple[float, float]:
    """φ, and the variance between ordinary sites: 0 where chance alone explains φ.

    Winsorising makes φ small even where sites differ as a normal distribution does; it is divided by what it makes
    of one, about half, so that the funnel is as wide as the ordinary sites are spread.
    """
    found = overdispersion(value, reference, error, WINSORISED)
    if not np.isfinite(found.factor):
        return np.nan, 0.0
    factor = found.factor / _CLIPPED_VARIANCE
    weight = 1 / error[np.isfinite(found.scores)] ** 2
    sites = weight.size
    if chdtrc(sites, sites * factor) >= CLEAR:
        return factor, 0.0
    spare = weight.sum() - np.sum(weight**2) / weight.sum()
    return factor, max(0.0, float((sites * factor - (sites - 1)) / spare))


def _p(score: Floats, between: float) -> Floats:
    """Two-sided p of a score: Student's t where the scale of the scores was estimated from the sites.

    Half as many degrees of freedom as all squares would give: winsorised ones tell less of a spread. By simulation,
    tests/benchmarks/site_flag_simulation.py.
    """
    if between == 0:
        return 2 * ndtr(-np.abs(score))
    return 2 * stdtr(max(2.0, (np.isfinite(score).sum() - 1) / 2), -np.abs(score))


def _normal_funnel(reference: float, error: Floats, between: float) -> Floats:
    return reference + ndtri(np.array(SHARES)) * np.sqrt(error**2 + between)[:, None]


def _exact_funnel(expected: Floats, n: Floats) -> Floats:
    """Limits on the site's own proportion, each about its own expected proportion."""
    limits = np.full((n.size, len(SHARES)), np.nan)
    for i in np.flatnonzero((expected > 0) & (expected < n)):
        limits[i] = exact_limits(expected[i] / n[i], [n[i]])[0]
    return limits


def _exact_score(observed: Floats, n: Floats, expected: Floats) -> Floats:
    """The normal score of the binomial mid-p of O_i: exact for small counts, and it has a sign."""
    inside = (expected > 0) & (expected < n)
    p = np.where(inside, expected / np.where(n > 0, n, 1), 0.5)
    size, count = (np.where(inside, whole, 1).astype(np.int64) for whole in (n, observed))
    below = np.where(count > 0, bdtr(np.maximum(count - 1, 0), size, p), 0.0)
    middle = np.clip((below + bdtr(count, size, p)) / 2, 1e-300, 1 - 1e-16)
    return np.where(inside, ndtri(middle), np.nan)


def _shrunken(value: Floats, error: Floats) -> tuple[Floats, Floats, Floats]:
    if np.isfinite(value * error).sum() < FEWEST_TO_SHRINK:
        return (np.full(value.shape, np.nan),) * 3
    found = shrink(value, error**2)
    return found.value, found.low, found.high


def _heterogeneity(
    value: Floats, error: Floats, lowest: float = -np.inf, highest: float = np.inf
) -> Heterogeneity | None:
    if np.isfinite(value * error).sum() < 2:
        return None
    found = dersimonian_laird(value, error**2)
    return replace(found, low=max(found.low, lowest), high=min(found.high, highest))
