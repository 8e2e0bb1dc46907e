"""Changes by site of entry and class of people → result.outcome_site."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.programme import Target
from pipeline.results.plain_number import without_nan
from pipeline.statistics.reliability import LEAST_PEOPLE
from pipeline.statistics.site_comparison import Comparison, compare_means, compare_proportions
from pipeline.statistics.target import probability_of_target
from pipeline.store import Store, sql_text

CHANGE, LOST = "weight_change_percent", "lost_5_percent"
_METHODS = {
    CHANGE: "mean change of those seen, standardised by sex, age and BMI at entry to the other sites; {funnel}; "
    "Benjamini–Hochberg over sites; shrunken: Morris (1983)",
    LOST: "share of those seen who began at a BMI of 25 or over, indirectly standardised by sex, age and BMI at entry; "
    "Wilson interval; {funnel}; Benjamini–Hochberg over sites; shrunken: Morris (1983)",
}


def build_outcome_sites(store: Store, target: Target | None) -> None:
    """Rewrite result.outcome_site, in the caller's transaction."""
    strata = store.frame(sql_text("57_outcome_site_stratum.sql"))
    parts = []
    for (months,), part in strata.group_by("months", maintain_order=True):
        n, y, yy, n_25, lost = (_matrix(part, name) for name in ("n", "y", "yy", "n_25", "lost"))
        sites = part["site"].unique().sort().to_list()
        parts.append(_rows(months, CHANGE, "%", sites, compare_means(n, y, yy), n, n, None))
        is_at = target is not None and target.months == months
        goal = target.share_losing_5_percent if is_at else None
        parts.append(_rows(months, LOST, "1", sites, compare_proportions(lost, n_25), lost, n_25, goal))
    if not parts:
        store.execute("delete from result.outcome_site")
        return
    table = pl.concat(parts).filter(pl.col("denominator") > 0, pl.col("reference").is_not_nan())
    store.replace_rows("result.outcome_site", without_nan(table))


def _matrix(part: pl.DataFrame, column: str) -> np.ndarray:
    """(sites, strata) of a column, sites in the order of their ids."""
    wide = part.sort("stratum").pivot(on="stratum", index="site", values=column, aggregate_function="sum")
    return wide.sort("site").drop("site").fill_null(0).to_numpy().astype(float)


def _rows(
    months: int,
    topic: str,
    unit: str,
    sites: list[str],
    found: Comparison,
    count: np.ndarray,
    people: np.ndarray,
    goal: float | None,
) -> pl.DataFrame:
    n = people.sum(axis=1)
    funnel = "funnel with the variance between sites" if found.is_widened else "funnel"
    met = np.full(n.size, np.nan)
    if goal is not None:
        met = probability_of_target(found.shrunken, found.shrunken_low, found.shrunken_high, goal)
    limits = ("funnel_low_998", "funnel_low_95", "funnel_high_95", "funnel_high_998")
    figures = ("value", "low", "high", "reference")
    final = ("score", "q_value", "shrunken", "shrunken_low", "shrunken_high")
    return pl.DataFrame(
        {"months": months, "topic": topic, "unit": unit, "site": sites}
        | {"n": count.sum(axis=1).astype(np.int64), "denominator": n.astype(np.int64)}
        | {name: getattr(found, name) for name in figures}
        | {name: found.funnel[:, i] for i, name in enumerate(limits)}
        | {name: getattr(found, name) for name in final}
        | {"target": goal, "target_probability": met, "method": _METHODS[topic].format(funnel=funnel)}
        | {"is_few": n < LEAST_PEOPLE},
        schema_overrides={"months": pl.Int16, "target": pl.Float64},
    ).select(pl.exclude("is_few"), flag=pl.when("is_few").then(pl.lit("unreliable")))
