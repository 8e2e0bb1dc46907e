"""Sums of changes by site → the rows of result.outcome: every figure by every estimator, side by side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.statistics.clustered_mean import clustered_mean
from pipeline.statistics.drop_out import ESTIMATORS, SUMS, Estimate, Sums, estimate
from pipeline.statistics.regression_to_mean import expected_fall
from pipeline.statistics.reliability import LEAST_PEOPLE
from pipeline.statistics.season_of_change import same_season
from pipeline.statistics.target import probability_of_target

BMI_CUT = 25.0
_CLUSTERS = "sites of entry as clusters"
_METHODS = {
    "completers": f"those seen; {_CLUSTERS}",
    "carried_forward": f"no change for those not seen; {_CLUSTERS}",
    "retention_weighted": "those seen, weighted by the inverse of the chance of having come again (logistic regression "
    f"on site, sex, age, BMI at entry, visits and change so far); {_CLUSTERS}, weights taken as known",
    "without_signals": f"those seen, without readings of analysers that signalled; {_CLUSTERS}",
    "less_analyser_differences": "those seen at sites that name two or more analysers, less the analysers' estimated "
    f"differences; {_CLUSTERS}",
    "same_season": f"regression with one yearly wave for all follow-ups; sandwich over {_CLUSTERS}",
    "less_regression_to_mean": "those seen, the expected fall by regression to the mean taken off (Barnett et al. "
    f"2005); {_CLUSTERS}; the expected fall taken as known",
}
_EXPECTED = (
    "expected fall without any effect of those chosen for a BMI of 25 or over at entry (Barnett et al. 2005), one "
    "reading at entry, normal distributions"
)
_FAT_SHARE = (
    f"ratio of mean fat change to mean weight change of the same people; {_CLUSTERS}; "
    "only where the mean weight clearly fell"
)

# measure in the sums → (measure, unit, statistic, whether it is a share)
_KINDS = {
    "weight_change": ("weight", "kg", "mean_change", False),
    "weight_change_percent": ("weight", "%", "mean_change", False),
    "fat_mass_change": ("fat_mass", "kg", "mean_change", False),
    "fat_free_mass_change": ("fat_free_mass", "kg", "mean_change", False),
    "body_fat_percent_change": ("body_fat_percent", "%", "mean_change", False),
    "bmi_z_change": ("bmi_z", "1", "mean_change", False),
    "lost_5_percent": ("weight", "1", "lost_5_percent", True),
    "weight_fell": ("weight", "1", "fell", True),
    "weight_same": ("weight", "1", "unchanged", True),
    "weight_rose": ("weight", "1", "rose", True),
    "fat_fell": ("body_fat_percent", "1", "fell", True),
    "fat_same": ("body_fat_percent", "1", "unchanged", True),
    "fat_rose": ("body_fat_percent", "1", "rose", True),
}
_SENSITIVITY = {
    "weight_change_steady": "without_signals",
    "weight_change_levelled": "less_analyser_differences",
}
_SEXES = {"all": ("female", "male"), "female": ("female",), "male": ("male",)}
_STARTS = {"all": ("bmi_25", "under_25"), "bmi_25": ("bmi_25",)}


@dataclass(frozen=True)
class Changes:
    """What result.outcome is made of, each of a file sql/57_outcome_*.sql: moment, fat_share, season, entry.

    improvement     "down" or "up", of weight and fat
    weight_error_kg the within-person standard deviation of weight, for the regression to the mean
    ages            the ages of adults and of children
    target          follow-up in months and hoped-for share who lose 5 %; None without one
    """

    moment: pl.DataFrame
    fat_share: pl.DataFrame
    season: pl.DataFrame
    entry: pl.DataFrame
    improvement: str
    weight_error_kg: float
    ages: dict[str, tuple[int, int]]
    target: tuple[int, float] | None = None


def outcome_table(changes: Changes) -> pl.DataFrame:
    """Every row of result.outcome.

    Shapes   out: the columns of result.outcome.
    Units    kg, %, z-score, or 1 for shares, as the column says.
    Missing  figures that cannot be told are nan; a group of whom nobody was due has no row.
    """
    rows = [
        *_means_and_shares(changes),
        *_seasonless(changes),
        *_regression_to_mean(changes),
        *_fat_shares(changes),
    ]
    rows += list(_target_reached(changes, rows))
    return pl.DataFrame(rows, schema=_SCHEMA, orient="row").sort(
        "age_from", "months", "measure", "unit", "statistic", "start", "sex", "estimator"
    )


_SCHEMA = {
    "months": pl.Int16, "measure": pl.String, "unit": pl.String, "statistic": pl.String, "start": pl.String,
    "sex": pl.String, "age_from": pl.Int16, "age_to": pl.Int16, "estimator": pl.String, "direction": pl.String,
    "n": pl.Int64, "denominator": pl.Int64, "value": pl.Float64, "low": pl.Float64, "high": pl.Float64,
    "effective_n": pl.Float64, "method": pl.String, "flag": pl.String,
}  # fmt: skip


def _row(changes: Changes, stage: str, key: tuple[int, str, str], kind: tuple[str, str, str], estimator: str,
         people: tuple[int, int], found: Estimate, method: str) -> tuple[Any, ...]:  # fmt: skip
    months, start, sex = key
    measure, unit, statistic = kind
    n, due = people
    has_direction = measure in ("weight", "body_fat_percent", "fat_mass") and start == "bmi_25"
    return (
        months, measure, unit, statistic, start, sex, *changes.ages[stage], estimator,
        changes.improvement if has_direction else "", n, due, found.value, found.low, found.high, found.effective,
        method, "unreliable" if n < LEAST_PEOPLE else None,
    )  # fmt: skip


def _means_and_shares(changes: Changes) -> Iterator[tuple[Any, ...]]:
    for (stage, months, measure), part in changes.moment.group_by(
        "stage", "months", "measure", maintain_order=True
    ):
        starts = _STARTS if stage == "adults" else {"all": ("bmi_25", "under_25")}
        is_sensitivity = measure in _SENSITIVITY
        name, unit, statistic, is_share = _KINDS["weight_change" if is_sensitivity else measure]
        for start, of_start in starts.items():
            if is_share and start == "all":
                continue  # asked of those who began at a BMI of 25 or over alone
            for sex, of_sex in _SEXES.items():
                group = part.filter(pl.col("start").is_in(of_start) & pl.col("sex").is_in(of_sex))
                if not group["n_due"].sum():
                    continue
                sums = _by_site(group)
                people = int(sums["n"].sum()), int(sums["n_due"].sum())
                for estimator in ("completers",) if is_sensitivity else ESTIMATORS:
                    if stage == "children" and estimator == "retention_weighted":
                        continue  # weights are made of adults' visits
                    named = _SENSITIVITY.get(measure, estimator)
                    found = estimate(sums, estimator, is_share=is_share)
                    yield _row(changes, stage, (months, start, sex), (name, unit, statistic), named, people,
                               found, _METHODS[named])  # fmt: skip


def _by_site(group: pl.DataFrame) -> Sums:
    summed = group.group_by("site").agg(pl.col(name).fill_null(0).sum() for name in SUMS).sort("site")
    return {name: summed[name].to_numpy().astype(float) for name in SUMS}


def _seasonless(changes: Changes) -> Iterator[tuple[Any, ...]]:
    for (start,), part in changes.season.group_by("start", maintain_order=True):
        found = same_season(part)
        for months, mean in sorted(found.items()):
            n = int(part.filter(months=months)["n"].sum())
            due = _due(changes, months, _STARTS[start], _SEXES["all"])
            figure = Estimate(mean.value, mean.low, mean.high, np.nan)
            yield _row(changes, "adults", (months, start, "all"), ("weight", "kg", "mean_change"), "same_season",
                       (n, due), figure, _METHODS["same_season"])  # fmt: skip


def _due(changes: Changes, months: int, starts: tuple[str, ...], sexes: tuple[str, ...]) -> int:
    rows = changes.moment.filter(
        (pl.col("measure") == "weight_change")
        & (pl.col("months") == months)
        & pl.col("start").is_in(starts)
        & pl.col("sex").is_in(sexes)
    )
    return int(rows["n_due"].sum())


def _regression_to_mean(changes: Changes) -> Iterator[tuple[Any, ...]]:
    """The expected fall of those who entered at a BMI of 25 or over, and their change without it, in kg."""
    for (months,), entry in changes.entry.group_by("months", maintain_order=True):
        n, x, xx, n_25, square = (
            float(entry[name].sum()) for name in ("n", "x", "xx", "n_25", "height_squared_25")
        )
        if n < LEAST_PEOPLE or n_25 < 2:
            continue
        height_squared = square / n_25
        mean, spread = x / n, (xx - x**2 / n) / (n - 1)
        within = min((changes.weight_error_kg / height_squared) ** 2, spread)
        if spread <= 0:
            continue
        fall = expected_fall(mean, spread - within, within, BMI_CUT) * height_squared
        for sex, of_sex in _SEXES.items():
            group = changes.moment.filter(
                (pl.col("measure") == "weight_change") & (pl.col("months") == months)
                & (pl.col("start") == "bmi_25") & pl.col("sex").is_in(of_sex)
            )  # fmt: skip
            if not group["n_due"].sum():
                continue
            sums = _by_site(group)
            people = int(sums["n"].sum()), int(sums["n_due"].sum())
            seen = estimate(sums, "completers", is_share=False)
            key = months, "bmi_25", sex
            less = Estimate(seen.value + fall, seen.low + fall, seen.high + fall, np.nan)
            yield _row(changes, "adults", key, ("weight", "kg", "mean_change"), "less_regression_to_mean", people,
                       less, _METHODS["less_regression_to_mean"])  # fmt: skip
            if sex == "all":
                yield _row(changes, "adults", key, ("weight", "kg", "regression_to_mean"), "expected", people,
                           Estimate(-fall, np.nan, np.nan, np.nan), _EXPECTED)  # fmt: skip


def _fat_shares(changes: Changes) -> Iterator[tuple[Any, ...]]:
    """Share of the lost weight that was fat, where the weight of those seen fell beyond doubt."""
    for (months,), part in changes.fat_share.group_by("months", maintain_order=True):
        for sex, of_sex in _SEXES.items():
            group = (
                part.filter(pl.col("sex").is_in(of_sex)).group_by("site").agg(pl.sum("n", "fat", "weight"))
            )
            n, fat, weight = (
                group.sort("site")[name].to_numpy().astype(float) for name in ("n", "fat", "weight")
            )
            due = _due(changes, months, ("bmi_25",), of_sex)
            if not n.sum() or not due:
                continue
            fell = clustered_mean(n, weight).high < 0
            ratio = clustered_mean(weight, fat) if fell else clustered_mean([], [])
            yield _row(changes, "adults", (months, "bmi_25", sex), ("fat_mass", "1", "fat_share_of_loss"),
                       "completers", (int(n.sum()), due), Estimate(ratio.value, ratio.low, ratio.high, np.nan),
                       _FAT_SHARE)  # fmt: skip


def _target_reached(changes: Changes, rows: list[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """The probability that the share over all sites reaches the target, by each estimator of that share."""
    if changes.target is None:
        return
    months, share = changes.target
    place = {name: i for i, name in enumerate(_SCHEMA)}
    for row in rows:
        if (row[place["months"]], row[place["statistic"]], row[place["sex"]]) != (
            months,
            "lost_5_percent",
            "all",
        ):
            continue
        probability = probability_of_target(*(row[place[name]] for name in ("value", "low", "high")), share)
        told = dict(zip(_SCHEMA, row, strict=True)) | {
            "statistic": "reached_target",
            "value": float(probability),
            "low": np.nan,
            "high": np.nan,
            "method": f"probability that the share reaches {share:g}, normal; {row[place['method']]}",
        }
        yield tuple(told.values())
