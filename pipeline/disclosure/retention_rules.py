"""Who came back, and into which band: what may be shown of the parts of everybody who was due.

Counts of people are told as whole multiples m of minimum_count, at or below; none is shared exactly with another table.

retention (all sites), transition
    parts of a row or of all who were due: shares are reckoned from the coarse counts, so nothing more is told than
    those. A sensitive part is withheld; where the coarse counts, taken together, would narrow it to less than
    1 … m − 1, the next smallest goes too, and where that does not do, the whole line goes. Of seen and seen_elsewhere
    both go where either is sensitive, since their sum stands beside them.
retention (by site, by period of entry)
    parts of an all-site figure: withheld parts are two or more, together at least m people, and as many outside.
retention_balance
    shares and differences of sums over many people, to two decimals, with coarse counts.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.parts_of_a_group import (
    counts_of,
    line_by_line,
    sensitive,
    withheld_among_sites,
    withheld_in_line,
)
from pipeline.disclosure.rounding import down_to_multiple, downward, step_of, to_nearest, upward
from pipeline.programme import Disclosure
from pipeline.statistics.proportion_interval import wilson_interval

_PARTS = ("seen", "seen_elsewhere", "not_counted", "missed", "gone")


def retention_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count
    rows = rows.with_row_index("place")
    is_whole = pl.col("site").is_null() & pl.col("entry_period").is_null()
    whole, parts = rows.filter(is_whole), rows.filter(~is_whole)
    of_parts = parts.with_columns(
        kind=pl.when(pl.col("site").is_null()).then(pl.lit("period")).otherwise(pl.lit("site"))
    )
    gone = {
        **_by_place(whole, line_by_line(whole, ["months", "age_from"], lambda part: _statuses(part, m))),
        **_by_place(parts, line_by_line(of_parts, ["months", "age_from", "kind"], lambda part: _sites(part, m))),
    }
    # the limits take the likeness of people of one site in: wider than those of the counts alone, hence kept
    step = step_of(m / pl.col("denominator"))
    limits = whole.select(
        low=downward(pl.col("low"), step).clip(0, 1), high=upward(pl.col("high"), step).clip(0, 1)
    )
    coarse = _from_coarse_counts(whole, m).with_columns(limits["low"], limits["high"])
    found = pl.concat([coarse, _coarse_with_shares(parts, m)])
    found = found.sort("place").drop("place")
    return found, pl.Series([gone[i] for i in range(rows.height)], dtype=pl.Boolean)


def _by_place(rows: pl.DataFrame, gone: np.ndarray) -> dict[int, bool]:
    return dict(zip(rows["place"].to_list(), gone.tolist(), strict=True))


def _statuses(part: pl.DataFrame, m: int) -> np.ndarray:
    """followed = seen + seen_elsewhere; due = followed + the other parts; everybody = due + those not due."""
    count, of = counts_of(part)
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
    count, of = counts_of(part)
    return withheld_among_sites(count, of, sensitive(count, of, m), m)


def _coarse_with_shares(rows: pl.DataFrame, m: int) -> pl.DataFrame:
    """Coarse counts; shares to a step of one person at least."""
    step = step_of(1 / pl.col("denominator"))
    return rows.with_columns(
        proportion=to_nearest(pl.col("proportion"), step).clip(0, 1),
        low=downward(pl.col("low"), step).clip(0, 1),
        high=upward(pl.col("high"), step).clip(0, 1),
        n=down_to_multiple(pl.col("n"), m),
        denominator=down_to_multiple(pl.col("denominator"), m),
    )


def transition_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    m = rules.minimum_count

    def of_line(part: pl.DataFrame) -> np.ndarray:
        count, of = counts_of(part)
        gone = sensitive(count, of, m)
        if of[0] < m:
            return np.ones(count.size, dtype=bool)
        return withheld_in_line(count, int(of[0]), gone, m)

    gone = line_by_line(rows, ["months", "banding", "band_from"], of_line)
    return _from_coarse_counts(rows, m), pl.Series(gone)


def retention_balance_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
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
