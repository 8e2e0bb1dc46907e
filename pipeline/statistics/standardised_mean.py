"""How far the mean of a measure at one site or analyser lies from what its ages and sexes lead one to expect."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AdjustedDifference:
    """All (groups,): people compared, observed less expected mean, its standard error, and their ratio.

    level_error: standard error of the mean of all groups plus the difference. The group is in that mean too.
    """

    people: Floats
    difference: Floats
    standard_error: Floats
    score: Floats
    level_error: Floats


def adjusted_difference(n: ArrayLike, total: ArrayLike, sum_of_squares: ArrayLike) -> AdjustedDifference:
    """Mean of each group less the mean of all the other groups in the same strata, over the group's own people.

    d_g = Σ_s (T_gs − n_gs·m_s)/Σ_s n_gs, with m_s the mean of stratum s over the other groups; its variance is
    Σ_s n_gs²·σ_s²·(1/n_gs + 1/N_s)/(Σ_s n_gs)², with N_s the people of the other groups and σ_s² the variance within
    groups of the stratum, pooled over all groups. The mean of all plus d_g is Σ_s (n_gs/N + q_gs)·m_gs +
    (N_s/N − q_gs)·m_s, q_gs the stratum's share of the group's people and N all people: its variance by the same rules.

    Shapes   n, total, sum_of_squares: (groups, strata), e.g. sites or analysers by sex and age group.
    Units    people; total in the measure's unit (or its print steps), sum of squares in its square.
    Missing  a stratum that no other group has, or whose variance is unknown, is left out of the group's comparison;
             a group with no stratum left is nan.
    Source   indirect standardisation of a mean: Breslow & Day, IARC Sci Publ 82 (1987) ch. 2, carried to means; the
             variance by the usual rules. Checked against a regression in tests/published/test_standardised_mean.py.
    """
    n, total, squares = (np.asarray(a, dtype=float) for a in (n, total, sum_of_squares))
    others, others_total = n.sum(axis=0) - n, total.sum(axis=0) - total
    with np.errstate(divide="ignore", invalid="ignore"):
        within = np.where(n > 0, squares - total**2 / np.where(n > 0, n, 1), 0).sum(axis=0)
        freedom = np.maximum(n - 1, 0).sum(axis=0)
        variance = np.where(freedom > 0, within / freedom, np.nan)
        usable = (n > 0) & (others > 0) & np.isfinite(variance)
        people = np.where(usable, n, 0).sum(axis=1)
        people = np.where(people > 0, people, np.nan)
        difference = np.where(usable, total - n * others_total / others, 0).sum(axis=1) / people
        spread = np.where(usable, n**2 * variance * (1 / n + 1 / others), 0).sum(axis=1) / people**2
        error = np.sqrt(spread)
        share, every = np.where(usable, n, 0) / people[:, None], n.sum()
        known, of_others = np.nan_to_num(variance), others / every - share
        level = np.where(n > 0, (n / every + share) ** 2 * known / n, 0)
        level = level + np.where(others > 0, of_others**2 * known / others, 0)
        score = difference / np.where(error > 0, error, np.nan)
        return AdjustedDifference(people, difference, error, score, np.sqrt(level.sum(axis=1)))
