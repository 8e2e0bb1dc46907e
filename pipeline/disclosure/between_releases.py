"""The guard between releases: what two of them side by side would tell that neither tells alone.

Whoever has both subtracts one from the other. So two versions of one period are judged as if they stood in one table,
and the table of their differences is held to the rule that holds for counts:

    small change     a count that both show differs by 1 to m - 1 people, m being minimum_count
    one band         of a group that changed, fewer than m people changed outside one band: it then tells of all of
                     them where they are
    rest             the shown changes of a sum leave 1 to m - 1 for what did not change on paper
    follows          several sums put together leave 1 to m - 1 for one count
    shown now        a count that was withheld is shown: where it did not change, it takes the cover from its neighbours
    withheld now     a count that was shown is withheld: the earlier figure still tells it, and covers nothing

A restatement that would break this is not stuck. `with_earlier_figures` keeps the earlier figure wherever the change
may not be told, and more where a sum would tell it, and shows the new figure everywhere else. What is kept is not
marked: a mark would say that somebody changed there. It is then true of the whole version that a figure which did not
change on paper changed by nobody, by fewer than m people, or protects such a change.

What adds up over time, trends, is compared with every other release too: see `without_small_differences`. Smooth curves
count in multiples of m, so that their differences are such multiples.

Pure functions over published tables: no file, no store, no clock. Counts of people decide; figures beside them follow.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.mixed_rows import mixed_rows
from pipeline.disclosure.version_pair import Tables, VersionPair


def exposures(earlier: Tables, new: Tables, minimum_count: int) -> pl.DataFrame:
    """The counts that two versions of one period would give away together.

    Shapes   earlier, new: published tables, those of COUNTED (version_pair.py) as far as they are there; out: KEY and
             why, one row a count, without any count.
    """
    pair = VersionPair.of(earlier, new)
    return pair.exposed(pair.change, minimum_count)


def with_earlier_figures(
    earlier: list[Tables], new: Tables, minimum_count: int, keys: dict[str, tuple[str, ...]]
) -> Tables:
    """The new tables with the figures of the last earlier version wherever a change may not be told.

    Shapes   earlier: every version of the period, in order; new, out: the same tables; keys: table → the columns
             that tell its rows apart.
    The result has no exposure against any earlier version: at worst it is the last one again.
    """
    pairs = [VersionPair.of(version, new) for version in earlier]
    last = pairs[-1]
    kept = np.zeros(last.frame.height, dtype=bool)
    while True:
        kept = _closed(last, pairs, kept, minimum_count)
        made = {
            name: mixed_rows(name, earlier[-1].get(name), rows, last, kept, minimum_count, keys[name])
            for name, rows in new.items()
        }
        # A new count may stand in no row after all, because its group's bands are of the version before: it is then
        # kept like the others, and the sums are looked at once more.
        made_pairs = [VersionPair.of(version, made) for version in earlier]
        shown = last.placed(made_pairs[-1], made_pairs[-1].change != 0)
        changed = (last.change != 0) & ~kept
        more = changed & ~shown
        if not more.any():
            # Counts of the two versions mixed may turn out to be as many where neither version's own do: sums that
            # could not be seen before the mixing.
            exposed = [pair for pair in made_pairs if pair.exposed(pair.change, minimum_count).height]
            if not exposed or not changed.any():
                return made  # at worst the last version again
            to_keep = [last.placed(pair, pair.to_keep(pair.change, minimum_count)) for pair in exposed]
            more = changed & np.any(to_keep, axis=0)
        kept = kept | (more if more.any() else changed)


def _closed(last: VersionPair, pairs: list[VersionPair], kept: np.ndarray, minimum_count: int) -> np.ndarray:
    """The counts to keep so that what is left to show tells of nobody, against any version; `kept` and more."""
    while True:
        shown = np.where(kept, 0, last.change)
        grown = kept | ~last.may_change
        for pair in pairs:
            change = pair.change_where(last, shown)
            grown |= last.placed(pair, pair.to_keep(change, minimum_count)) & (shown != 0)
        grown |= last.whole_groups(grown & (last.change != 0))
        grown = kept | (grown & (last.change != 0))
        if np.array_equal(grown, kept):
            return kept
        kept = grown


def without_small_differences(
    new: Tables, period: str, others: list[tuple[str, Tables]], minimum_count: int
) -> Tables:
    """The new release without figures over all periods that, less those of another release, tell of a few people.

    Shapes   others: (period, tables) of every other release, the last version of each period.
    Trends   n and denominator are sums over periods: new less earlier less what the periods between publish must be
             nothing, or at least m; else the row is withheld.
    """
    found = dict(new)
    shown = {other: tables["prevalence"] for other, tables in others if "prevalence" in tables}
    for other, tables in others:
        if "trend" in found and "trend" in tables:
            between = [shown.get(one) for one in sorted({period, *shown}) if other < one < period]
            of_period = [new["prevalence"]] if period > other else []
            if all(part is not None for part in between):
                found["trend"] = _trends_apart(
                    found["trend"], tables["trend"], [*between, *of_period], minimum_count
                )
    return found


def _trends_apart(
    new: pl.DataFrame, other: pl.DataFrame, between: list[pl.DataFrame], minimum_count: int
) -> pl.DataFrame:
    key = ["banding", "band", "sex", "age_from", "age_to"]
    joined = new.join(
        other.select(*key, n_then="n", of_then="denominator"), on=key, how="left", maintain_order="left"
    )
    for place, prevalence in enumerate(between):
        part = prevalence.filter(pl.col("population") == "all").select(
            *key, pl.col("n").alias(f"n_{place}"), pl.col("denominator").alias(f"of_{place}")
        )
        joined = joined.join(part, on=key, how="left", maintain_order="left")
    is_few = pl.lit(False)
    for name, short in (("n", "n"), ("denominator", "of")):
        rest = (
            pl.col(name)
            - pl.col(f"{short}_then")
            - sum((pl.col(f"{short}_{i}") for i in range(len(between))), pl.lit(0))
        )
        is_few = is_few | rest.abs().is_between(1, minimum_count - 1).fill_null(False)
    gone = joined.select(is_few=is_few)["is_few"]
    figures = ("n", "denominator", "odds_ratio", "low", "high", "points_a_period", "p")
    return new.with_columns(
        *(pl.when(~gone).then(pl.col(name)).alias(name) for name in figures),
        flag=pl.when(gone).then(pl.lit("withheld")).otherwise("flag"),
    )
