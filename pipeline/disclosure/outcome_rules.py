"""Outcomes: what of them may be shown. Each table is protected on its own; none shares an exact count with another.

Counts of people are told as whole multiples of minimum_count, at or below. Retention and transitions, which are parts
of everybody who was due, have rules of their own (retention_rules.py).

outcome
    shares: fell, unchanged and rose go together, over every estimator; women and men go together, since both and
    their sum are shown. Means need minimum_people_for_percentile people; one of nearly the same people as another
    shown mean, less a few, is withheld.
outcome_site
    parts of an all-site figure, as retention by site.
measurement_error, group_time_effect
    figures of sums over many people, to three digits, with coarse counts.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl

from pipeline.disclosure.parts_of_a_group import counts_of, line_by_line, sensitive, withheld_among_sites
from pipeline.disclosure.retention_rules import (
    retention_as_published,
    retention_balance_as_published,
    transition_as_published,
)
from pipeline.disclosure.rounding import (
    down_to_multiple,
    downward,
    step_of,
    to_nearest,
    to_significant,
    upward,
)
from pipeline.programme import Disclosure

OUTCOME_FIGURES: dict[str, tuple[str, ...]] = {
    "retention": ("n", "denominator", "proportion", "low", "high"),
    "outcome": ("n", "denominator", "value", "low", "high", "effective_n"),
    "transition": ("n", "denominator", "proportion", "low", "high"),
    "retention_balance": (
        *("n", "denominator", "share_due", "share_seen", "share_weighted"),
        *("difference_before", "difference_after"),
    ),
    "measurement_error": ("n", "error", "percent_error", "reliability", "smallest_detectable_change"),
    "outcome_site": (
        *("n", "denominator", "value", "low", "high", "reference", "score", "q_value"),
        *("funnel_low_95", "funnel_high_95", "funnel_low_998", "funnel_high_998"),
        *("shrunken", "shrunken_low", "shrunken_high", "target_probability"),
    ),
    "group_time_effect": ("n", "comparison_n", "value", "low", "high", "p"),
}

_GROUP = ["months", "measure", "start", "sex", "age_from"]
SHARES = ("lost_5_percent", "fell", "unchanged", "rose")
_REACHED = "reached_target"  # a probability worked out of lost_5_percent, and withheld with it


def outcome_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count
    is_share = rows["statistic"].is_in([*SHARES, _REACHED]).to_numpy()
    n = rows["n"].to_numpy().astype(int)
    gone = n < rules.minimum_people_for_percentile
    gone |= _shares_gone(rows, is_share, m) | _nearly_the_same(rows, is_share, m)
    gone = _with_the_other_sex(rows, gone)
    step = (
        pl.when(pl.col("statistic") == _REACHED)
        .then(0.01)
        .otherwise(step_of(1 / pl.max_horizontal(pl.col("n"), pl.lit(1))))
    )
    share = pl.Series("is_share", is_share)
    found = rows.with_columns(share).with_columns(
        *(
            pl.when("is_share").then(rounded).otherwise(to_significant(pl.col(name), 4)).alias(name)
            for name, rounded in (
                ("value", to_nearest(pl.col("value"), step).clip(0, 1)),
                ("low", downward(pl.col("low"), step).clip(0, 1)),
                ("high", upward(pl.col("high"), step).clip(0, 1)),
            )
        ),
        n=down_to_multiple(pl.col("n"), m),
        denominator=down_to_multiple(pl.col("denominator"), m),
        effective_n=downward(pl.col("effective_n"), float(m)),
    )
    return found.drop("is_share"), pl.Series(gone)


def _shares_gone(rows: pl.DataFrame, is_share: np.ndarray, m: int) -> np.ndarray:
    """The count behind a share is that of those seen; a sensitive one takes every estimator, and its complements."""
    counted = rows.with_columns(
        family=pl.when(pl.col("statistic").is_in(["fell", "unchanged", "rose"]))
        .then(pl.lit("reliable"))
        .otherwise(pl.lit("lost_5_percent")),
        is_share=pl.Series(is_share),
        inside=(pl.col("value") * pl.col("n")).round().fill_null(0),
    )
    inside, of = counted["inside"].to_numpy(), counted["n"].to_numpy()
    of_seen = (counted["statistic"].is_in(SHARES) & (counted["estimator"] == "completers")).to_numpy()
    flagged = counted.with_columns(hit=pl.Series(of_seen & sensitive(inside, of, m)))
    return (
        flagged.select(pl.col("hit").any().over([*_GROUP, "family"]) & pl.col("is_share"))
        .to_series()
        .to_numpy()
    )


def _nearly_the_same(rows: pl.DataFrame, is_share: np.ndarray, m: int) -> np.ndarray:
    """Means over all but a few of the people of another shown mean: of those at a BMI of 25 or over against all, and
    of those without doubtful analysers against all seen."""
    key = ["months", "measure", "unit", "statistic", "age_from"]
    seen = rows.filter(pl.col("estimator") == "completers")
    everybody = seen.filter(pl.col("start") == "all").select(*key, "sex", n_all="n")
    same = seen.select(*key, "sex", "start", n_seen="n")
    beside = rows.join(everybody, on=[*key, "sex"], how="left", maintain_order="left").join(
        same, on=[*key, "sex", "start"], how="left", maintain_order="left"
    )

    def few(more: str, when: pl.Expr) -> pl.Expr:
        return (when & (pl.col(more) - pl.col("n")).is_between(1, m - 1)).fill_null(False)

    is_some = ~pl.col("estimator").is_in(["completers", "carried_forward", "retention_weighted"])
    found = beside.select(few("n_all", pl.col("start") != "all") | few("n_seen", is_some)).to_series()
    return found.to_numpy() & ~is_share


def _with_the_other_sex(rows: pl.DataFrame, gone: np.ndarray) -> np.ndarray:
    key = ["months", "measure", "unit", "statistic", "start", "age_from", "estimator"]
    marked = rows.with_columns(gone=pl.Series(gone))
    either = (pl.col("gone") & (pl.col("sex") != "all")).any().over(key)
    return marked.select(pl.col("gone") | (either & (pl.col("sex") != "all"))).to_series().to_numpy()


def measurement_error_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count
    figures = ("error", "percent_error", "smallest_detectable_change")
    found = rows.with_columns(
        *(to_significant(pl.col(name), 3) for name in figures),
        reliability=to_nearest(pl.col("reliability"), 0.001),
        n=down_to_multiple(pl.col("n"), m),
    )
    return found, rows["n"].is_between(1, m - 1)


def outcome_site_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count

    def of_line(part: pl.DataFrame) -> np.ndarray:
        count, of = counts_of(part)
        few = of < rules.minimum_people_for_percentile
        if part["topic"][0] != "lost_5_percent":
            # a mean holds no count of a band: it is enough that small sites are not withheld alone
            return withheld_among_sites(of, 2 * of, few, m)
        return withheld_among_sites(count, of, few | sensitive(count, of, m), m)

    gone = line_by_line(rows, ["months", "topic"], of_line)
    is_share = pl.col("topic") == "lost_5_percent"
    step = step_of(1 / pl.col("denominator"))

    def told(name: str, rounded: pl.Expr) -> pl.Expr:
        return pl.when(is_share).then(rounded).otherwise(to_significant(pl.col(name), 4)).alias(name)

    low = ("low", "funnel_low_95", "funnel_low_998", "shrunken_low")
    high = ("high", "funnel_high_95", "funnel_high_998", "shrunken_high")
    found = rows.with_columns(
        *(told(name, to_nearest(pl.col(name), step)) for name in ("value", "shrunken")),
        *(told(name, downward(pl.col(name), step)) for name in low),
        *(told(name, upward(pl.col(name), step)) for name in high),
        told("reference", to_nearest(pl.col("reference"), 0.001)),
        score=to_nearest(pl.col("score"), 0.1),
        q_value=to_significant(pl.col("q_value"), 2),
        target_probability=to_nearest(pl.col("target_probability"), 0.01),
        n=down_to_multiple(pl.col("n"), m),
        denominator=down_to_multiple(pl.col("denominator"), m),
    )
    return found, pl.Series(gone)


def group_time_effect_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    least = pl.min_horizontal("n", "comparison_n")
    found = rows.with_columns(
        *(to_significant(pl.col(name), 3) for name in ("value", "low", "high")),
        p=to_significant(pl.col("p"), 2),
        n=down_to_multiple(pl.col("n"), rules.minimum_count),
        comparison_n=down_to_multiple(pl.col("comparison_n"), rules.minimum_count),
    )
    return found, rows.select(least < rules.minimum_people_for_percentile).to_series()


OUTCOME_RULES: dict[str, Callable[[pl.DataFrame, Disclosure], tuple[pl.DataFrame, pl.Series]]] = {
    "retention": retention_as_published,
    "outcome": outcome_as_published,
    "transition": transition_as_published,
    "retention_balance": retention_balance_as_published,
    "measurement_error": measurement_error_as_published,
    "outcome_site": outcome_site_as_published,
    "group_time_effect": group_time_effect_as_published,
}
