"""Outcomes: what of them may be shown. Each table is protected on its own; none shares an exact count with another.

Counts of people are told as whole multiples m of minimum_count, at or below. A count is sensitive when it or the rest
of its group is 1 to m − 1 people, or when it is everybody: the group is then given away by it.

retention (all sites), transition
    parts of a row or of all who were due: shares are reckoned from the coarse counts, so nothing more is told than
    those. A sensitive part is withheld; where the coarse counts, taken together, would narrow it to less than
    1 … m − 1, the next smallest goes too, and where that does not do, the whole line goes. Of seen and seen_elsewhere
    both go where either is sensitive, since their sum stands beside them.
retention (by site, by period of entry), outcome_site
    parts of an all-site figure: withheld parts are two or more, together at least m people, and as many outside.
outcome
    shares: fell, unchanged and rose go together, over every estimator; women and men go together, since both and
    their sum are shown. Means need minimum_people_for_percentile people; one of nearly the same people as another
    shown mean, less a few, is withheld.
measurement_error, retention_balance, group_time_effect
    figures of sums over many people, to three digits, with coarse counts.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl

from pipeline.disclosure.rounding import (
    down_to_multiple,
    downward,
    step_of,
    to_nearest,
    to_significant,
    upward,
)
from pipeline.programme import Disclosure
from pipeline.statistics.proportion_interval import wilson_interval

Published = tuple[pl.DataFrame, pl.Series]

_PARTS = ("seen", "seen_elsewhere", "not_counted", "missed", "gone")

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


# ---- parts of a line --------------------------------------------------------------------------------------


def sensitive(count: np.ndarray, of: np.ndarray, m: int) -> np.ndarray:
    """Whether a count is withheld for what it is: 1 to m − 1, or somebody in it and fewer than m outside.

    Shapes   count, of, out: (cells,).   Units  people. A group under m is sensitive throughout.
    """
    return ((count >= 1) & (count < m)) | ((count > 0) & (of - count < m)) | (of < m)


def withheld_in_line(count: np.ndarray, of: int, gone: np.ndarray, m: int) -> np.ndarray:
    """Parts of one group, shown as multiples of m beside their sum: which to withhold, or all of them.

    A part of 1 to m − 1 must be able to be anything in there. Each true count lies between its multiple and m − 1
    above, zeros are shown, and of withheld parts nobody knows which are small. With D the shown sum less the shown
    parts, a part that is withheld alone lies between D − (m − 1)·(shown parts that are not 0) and D + m − 1; with w − 1
    others it can be as low as 1, and as high as D + (m − 1) − (w − 1).

    Shapes   count, gone, out: (parts,); of: their sum.   Units  people.
    """
    gone = gone.copy()
    while gone.any():
        shown = ~gone & (count > 0)
        left = of // m * m - (count[shown] // m * m).sum()
        others = gone.sum() - 1
        low = left - (m - 1) * shown.sum() if others == 0 else 1
        high = left + (m - 1) - others
        if low <= 1 and high >= m - 1:
            return gone
        if not shown.any():
            return np.ones(count.size, dtype=bool)
        gone[np.flatnonzero(shown)[np.argmin(count[shown])]] = True
    return gone


def withheld_among_sites(count: np.ndarray, of: np.ndarray, gone: np.ndarray, m: int) -> np.ndarray:
    """Parts of an all-site figure: what is withheld is two or more parts, with m people in it and m outside.

    Shapes   count, of, gone, out: (sites,).   Units  people.
    """
    gone = gone.copy()
    while gone.any() and not gone.all():
        inside, outside = count[gone].sum(), (of - count)[gone].sum()
        # nobody inside, or nobody outside, over all the withheld would be told by subtraction as well
        if gone.sum() >= 2 and inside >= m and outside >= m:
            break
        left = np.flatnonzero(~gone)
        gone[left[np.argmin(of[left])]] = True
    return gone


def _lines(rows: pl.DataFrame, key: list[str], rule: Callable[[pl.DataFrame], np.ndarray]) -> np.ndarray:
    """`rule` for each line of rows that have the same key: whether each row is withheld."""
    gone = np.zeros(rows.height, dtype=bool)
    for _, part in rows.with_row_index("row").group_by(key, maintain_order=True):
        gone[part["row"].to_numpy()] = rule(part)
    return gone


def _numbers(part: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    return part["n"].to_numpy().astype(int), part["denominator"].to_numpy().astype(int)


def _from_coarse_counts(rows: pl.DataFrame, m: int) -> pl.DataFrame:
    """n and denominator as multiples of m; share and Wilson limits of the middles of what those may stand for."""
    middle = (m - 1) / 2
    counted = rows.select(
        n=pl.when(pl.col("n") > 0).then(down_to_multiple(pl.col("n"), m) + middle).otherwise(0.0),
        of=down_to_multiple(pl.col("denominator"), m) + middle,
    )
    low, high = wilson_interval(counted["n"].to_numpy(), counted["of"].to_numpy())
    return rows.with_columns(
        n=down_to_multiple(pl.col("n"), m),
        denominator=down_to_multiple(pl.col("denominator"), m),
        proportion=to_nearest(pl.lit(counted["n"] / counted["of"]), 0.001),
        low=downward(pl.lit(pl.Series(low)), 0.001),
        high=upward(pl.lit(pl.Series(high)), 0.001),
    )


# ---- tables -----------------------------------------------------------------------------------------------


def retention_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count
    rows = rows.with_row_index("place")
    is_whole = pl.col("site").is_null() & pl.col("entry_period").is_null()
    whole, parts = rows.filter(is_whole), rows.filter(~is_whole)
    of_parts = parts.with_columns(
        kind=pl.when(pl.col("site").is_null()).then(pl.lit("period")).otherwise(pl.lit("site"))
    )
    gone = {
        **_by_place(whole, _lines(whole, ["months", "age_from"], lambda part: _statuses(part, m))),
        **_by_place(parts, _lines(of_parts, ["months", "age_from", "kind"], lambda part: _sites(part, m))),
    }
    # the limits take the likeness of people of one site in: wider than those of the counts alone, hence kept
    step = step_of(m / pl.col("denominator"))
    limits = whole.select(
        low=downward(pl.col("low"), step).clip(0, 1), high=upward(pl.col("high"), step).clip(0, 1)
    )
    coarse = _from_coarse_counts(whole, m).with_columns(limits["low"], limits["high"])
    found = pl.concat([coarse, _coarse_with_shares(parts, "proportion", m)])
    found = found.sort("place").drop("place")
    return found, pl.Series([gone[i] for i in range(rows.height)], dtype=pl.Boolean)


def _by_place(rows: pl.DataFrame, gone: np.ndarray) -> dict[int, bool]:
    return dict(zip(rows["place"].to_list(), gone.tolist(), strict=True))


def _statuses(part: pl.DataFrame, m: int) -> np.ndarray:
    """followed = seen + seen_elsewhere; due = followed + the other parts; everybody = due + those not due."""
    count, of = _numbers(part)
    status = part["status"].to_numpy()
    is_part, is_pair = np.isin(status, _PARTS), np.isin(status, ("seen", "seen_elsewhere"))
    gone = sensitive(count, of, m)
    if (gone & is_pair).any():
        gone |= is_pair
    line = np.flatnonzero(is_part & ~is_pair | (status == "followed"))
    if gone[line].any():
        gone[line] = withheld_in_line(count[line], int(of[line][0]), gone[line], m)
    undue = np.flatnonzero(~is_part & (status != "followed"))
    if gone[undue].any() and line.size:
        # everybody = due, a multiple of m too, + not due + site silent
        counts = np.append(count[undue], of[line][0])
        all_gone = withheld_in_line(counts, int(of[undue][0]), np.append(gone[undue], False), m)
        gone[undue] = all_gone[:-1] | all_gone[-1]
    if gone[status == "followed"].any():
        gone |= is_pair
    return gone


def _sites(part: pl.DataFrame, m: int) -> np.ndarray:
    count, of = _numbers(part)
    return withheld_among_sites(count, of, sensitive(count, of, m), m)


def _coarse_with_shares(rows: pl.DataFrame, share: str, m: int) -> pl.DataFrame:
    """Coarse counts; shares to a step of one person at least."""
    step = step_of(1 / pl.col("denominator"))
    return rows.with_columns(
        to_nearest(pl.col(share), step).clip(0, 1).alias(share),
        low=downward(pl.col("low"), step).clip(0, 1),
        high=upward(pl.col("high"), step).clip(0, 1),
        n=down_to_multiple(pl.col("n"), m),
        denominator=down_to_multiple(pl.col("denominator"), m),
    )


def transition_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count

    def of_line(part: pl.DataFrame) -> np.ndarray:
        count, of = _numbers(part)
        gone = sensitive(count, of, m)
        if of[0] < m:
            return np.ones(count.size, dtype=bool)
        return withheld_in_line(count, int(of[0]), gone, m)

    gone = _lines(rows, ["months", "banding", "band_from"], of_line)
    return _from_coarse_counts(rows, m), pl.Series(gone)


def outcome_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
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


_GROUP = ["months", "measure", "start", "sex", "age_from"]
SHARES = ("lost_5_percent", "fell", "unchanged", "rose")
_REACHED = "reached_target"  # a probability worked out of lost_5_percent, and withheld with it


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


def retention_balance_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
    """Rows with rounded figures, and whether each is withheld: a covariate whole where one level is small."""
    m = rules.minimum_count
    n, of = pl.col("n"), pl.col("denominator")
    small = (n < m) | (of - n).is_between(1, m - 1)
    gone = rows.select(small.any().over("months", "covariate")).to_series()
    found = rows.with_columns(
        *(to_nearest(pl.col(name), 0.01) for name in ("share_due", "share_seen", "share_weighted")),
        *(to_nearest(pl.col(name), 0.01) for name in ("difference_before", "difference_after")),
        n=down_to_multiple(n, m),
        denominator=down_to_multiple(pl.col("denominator"), m),
    )
    return found, gone


def measurement_error_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count
    figures = ("error", "percent_error", "smallest_detectable_change")
    found = rows.with_columns(
        *(to_significant(pl.col(name), 3) for name in figures),
        reliability=to_nearest(pl.col("reliability"), 0.001),
        n=down_to_multiple(pl.col("n"), m),
    )
    return found, rows["n"].is_between(1, m - 1)


def outcome_site_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count

    def of_line(part: pl.DataFrame) -> np.ndarray:
        count, of = _numbers(part)
        few = of < rules.minimum_people_for_percentile
        if part["topic"][0] != "lost_5_percent":
            # a mean holds no count of a band: it is enough that small sites are not withheld alone
            return withheld_among_sites(of, 2 * of, few, m)
        return withheld_among_sites(count, of, few | sensitive(count, of, m), m)

    gone = _lines(rows, ["months", "topic"], of_line)
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


def group_time_effect_as_published(rows: pl.DataFrame, rules: Disclosure) -> Published:
    """Rows with rounded figures, and whether each is withheld."""
    least = pl.min_horizontal("n", "comparison_n")
    found = rows.with_columns(
        *(to_significant(pl.col(name), 3) for name in ("value", "low", "high")),
        p=to_significant(pl.col("p"), 2),
        n=down_to_multiple(pl.col("n"), rules.minimum_count),
        comparison_n=down_to_multiple(pl.col("comparison_n"), rules.minimum_count),
    )
    return found, rows.select(least < rules.minimum_people_for_percentile).to_series()


OUTCOME_RULES: dict[str, Callable[[pl.DataFrame, Disclosure], Published]] = {
    "retention": retention_as_published,
    "outcome": outcome_as_published,
    "transition": transition_as_published,
    "retention_balance": retention_balance_as_published,
    "measurement_error": measurement_error_as_published,
    "outcome_site": outcome_site_as_published,
    "group_time_effect": group_time_effect_as_published,
}
