"""One mean or share under three readings of drop-out: of those seen, nothing changed for the lost, and weighted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.clustered_mean import ClusteredMean, clustered_mean, effective_people
from pipeline.statistics.clustered_proportion import ClusteredProportion, korn_graubard_interval

Floats = NDArray[np.float64]
Sums = Mapping[str, Floats]

ESTIMATORS = ("completers", "carried_forward", "retention_weighted")
SUMS = ("n_due", "n", "y", "yy", "w", "ww", "wy", "wyy", "wwy", "wwyy")


@dataclass(frozen=True)
class Estimate:
    """value with its interval; effective people of the weighted, nan of the others."""

    value: float
    low: float
    high: float
    effective: float


def estimate(sums: Sums, estimator: str, *, is_share: bool) -> Estimate:
    """One estimator of a change.

    completers           Σy/n over those seen.
    carried_forward      Σy/n_due: whoever was due and not seen has not changed (a share: has not got there).
    retention_weighted   Σwy/Σw, w: how many people who began alike each person seen stands for. Its interval takes
                         the weights as known, which makes it a little too wide rather than too narrow.

    Shapes   sums: SUMS → (sites,), sites of entry.
    Units    value in the unit of y; a share from 0 to 1.
    Missing  nan throughout with nobody seen, or for retention_weighted without weights.
    Errors   ValueError for another estimator.
    Source   means: clustered_mean. Shares: Korn & Graubard with the linearised variance. Weights: Robins, Hernán &
             Brumback (2000) Epidemiology 11:550-560; that known weights are conservative: Lunceford & Davidian (2004)
             Stat Med 23:2937-2960. Worked strata in tests/published/test_retention_weights.py, bias and coverage in
             tests/benchmarks/outcome_recovery.py.
    """
    if estimator not in ESTIMATORS:
        raise ValueError(f"no estimator {estimator}; estimators are {', '.join(ESTIMATORS)}")
    n = sums["n"].sum()
    weight, total, squares = {
        "completers": (sums["n"], sums["y"], (sums["n"], sums["y"], sums["yy"])),
        "carried_forward": (sums["n_due"], sums["y"], (sums["n_due"], sums["y"], sums["yy"])),
        "retention_weighted": (sums["w"], sums["wy"], (sums["ww"], sums["wwy"], sums["wwyy"])),
    }[estimator]
    people = sums["n_due"].sum() if estimator == "carried_forward" else n
    if n == 0 or weight.sum() <= 0:
        return Estimate(np.nan, np.nan, np.nan, np.nan)
    mean = total.sum() / weight.sum()
    one, first, second = (part.sum() for part in squares)
    simple = float(second - 2 * mean * first + mean**2 * one) / float(weight.sum()) ** 2
    found = clustered_mean(weight, total, simple * people / max(people - 1, 1), people)
    effective = np.nan
    if estimator == "retention_weighted":
        effective = effective_people(float(weight.sum()), float(one))
    if is_share:
        low, high = _share_limits(found, people if np.isnan(effective) else effective)
        return Estimate(found.value, low, high, effective)
    return Estimate(found.value, found.low, found.high, effective)


def _share_limits(found: ClusteredMean, people: float) -> tuple[float, float]:
    simple = found.value * (1 - found.value) / people
    cell = ClusteredProportion(
        *(
            np.array([part], dtype=float)
            for part in (
                min(max(found.value, 0.0), 1.0),
                people,
                found.variance,
                found.freedom,
                found.variance / simple if simple > 0 else np.nan,
            )
        )
    )
    low, high = korn_graubard_interval(cell)
    return float(low[0]), float(high[0])
