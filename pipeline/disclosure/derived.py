"""Tables whose figures are worked out of counts that prevalence and percentile show, and out of finer ones.

A figure goes when the counts it stands on are withheld. Where it stands, it must not give back a count that is
withheld elsewhere: it is one equation in those counts. So it is rounded until so many people could be moved about
without changing it:

    standardised_prevalence  where an age group inside is withheld, to a step under which half of minimum_count people
                             could be moved between any two age groups, either way, and the figure would be told the
                             same: then every count inside may still lie as far off as the protection rule asks
                             (need.py), the crude number being known. Where that takes a step over 0.05, it is
                             withheld. Limits always to a step of at least one person.
    trend                    withheld where any of its periods is, because n is their sum; to a step that one person,
                             moved from one end of the periods to the other, is worth; over 0.05: withheld.
    who_position             its centiles lie between the edges of the bands, so a count of people between two edges
                             would follow by subtraction: n to a multiple of minimum_count, limits likewise. What
                             that still says of people below an edge is heeded with the percentiles
                             (percentile_evidence.py), which may withhold more rows.
"""

from __future__ import annotations

import polars as pl

from pipeline.disclosure.rounding import downward, step_of, step_with_room, to_nearest, to_significant, upward
from pipeline.programme import Disclosure

COARSEST = 0.05  # a share told to no better than this says nothing; project's choice
_CELL = ["banding", "band", "population", "site", "period", "sex", "age_from", "age_to"]


def standardised_as_published(
    rows: pl.DataFrame, prevalence: pl.DataFrame, rules: Disclosure
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld.

    Shapes   rows: of result.standardised_prevalence with person_weight; prevalence: protected.
    """
    crude = _joined(rows, prevalence.select(*_CELL, is_shown=pl.col("n").is_not_null()), _CELL)["is_shown"]
    is_whole = _has_open_strata(rows, prevalence)
    room = rules.minimum_count / 2 * rows["person_weight"]  # between two age groups, at most
    step = step_with_room(rows["proportion"], room, COARSEST)
    stepped = rows.with_columns(
        is_whole=is_whole,
        step=step,
        of_one=step_of(1 / pl.col("denominator")),
        is_shown=crude.fill_null(False),
    ).with_columns(
        limit_step=pl.when("is_whole").then("of_one").otherwise(pl.max_horizontal("step", "of_one"))
    )
    found = stepped.with_columns(
        proportion=pl.when("is_whole")
        .then("proportion")
        .otherwise(to_nearest(pl.col("proportion"), pl.col("step"))),
        low=downward(pl.col("low"), pl.col("limit_step")),
        high=pl.min_horizontal(upward(pl.col("high"), pl.col("limit_step")), pl.lit(1.0)),
    )
    gone = ~found["is_shown"] | (~found["is_whole"] & found["step"].is_null())
    return found.select(rows.columns), gone


def _has_open_strata(rows: pl.DataFrame, prevalence: pl.DataFrame) -> pl.Series:
    """Whether every published count inside the total, of the sexes that count, is published."""
    place = ["banding", "band", "population", "site", "period"]
    inside = (
        rows.with_row_index("row")
        .select("row", *place, "sex", "age_from", "age_to")
        .join(
            prevalence.select(*place, "n", of_sex="sex", low="age_from", high="age_to"),
            on=place,
            nulls_equal=True,
        )
        .filter(
            (pl.col("low") >= pl.col("age_from"))
            & (pl.col("high") <= pl.col("age_to"))
            & ((pl.col("of_sex") == pl.col("sex")) | (pl.col("sex") == "all"))
        )
        .group_by("row")
        .agg(is_open=pl.col("n").is_not_null().all())
    )
    numbered = rows.with_row_index("row").select("row")
    return numbered.join(inside, on="row", how="left", maintain_order="left")["is_open"].fill_null(False)


def trend_as_published(
    rows: pl.DataFrame, prevalence: pl.DataFrame, rules: Disclosure
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld. Shapes as standardised_as_published."""
    key = ["banding", "band", "sex", "age_from", "age_to"]
    every_period = (
        prevalence.filter(pl.col("population") == "all")
        .group_by(key)
        .agg(is_shown=pl.col("n").is_not_null().all(), shown=pl.col("n").sum())
    )
    joined = _joined(rows, every_period, key)
    is_shown = joined["is_shown"].fill_null(False) & (joined["shown"] == joined["n"]).fill_null(False)
    spread = pl.col("n") * (1 - pl.col("n") / pl.col("denominator"))
    one_person = 6 / (spread * (pl.col("periods") + 1))  # (T - 1)/2 over n·p·q·(T² - 1)/12
    stepped = rows.with_columns(step=step_of(pl.max_horizontal(one_person, pl.lit(0.001))))
    found = stepped.with_columns(
        odds_ratio=to_nearest(pl.col("odds_ratio"), pl.col("step")),
        low=downward(pl.col("low"), pl.col("step")),
        high=upward(pl.col("high"), pl.col("step")),
        points_a_period=to_nearest(pl.col("points_a_period"), pl.col("step") / 10),
        p=to_significant(pl.col("p"), 2),
    )
    is_coarse = (found["step"] > COARSEST).fill_null(True)
    return found.select(rows.columns), ~is_shown | is_coarse


def position_as_published(
    rows: pl.DataFrame, percentile: pl.DataFrame, rules: Disclosure
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld. Shapes   percentile: protected."""
    key = ["period", "sex", "age_from", "age_to"]
    people = (
        percentile.filter((pl.col("measure") == "bmi_z") & pl.col("site").is_null())
        .group_by(key)
        .agg(shown=pl.col("n").max())
    )
    shown = _joined(rows, people, key)["shown"]
    least = rules.minimum_count
    step = step_of(least / pl.col("denominator"))
    rounded = to_nearest(pl.col("n").cast(pl.Float64), float(least)).cast(pl.Int64)
    proportion = rounded / pl.col("denominator")
    found = rows.with_columns(
        n=rounded,
        proportion=proportion,
        low=pl.min_horizontal(downward(pl.col("low"), step), proportion),
        high=pl.max_horizontal(pl.min_horizontal(upward(pl.col("high"), step), pl.lit(1.0)), proportion),
    )
    few = (rows["n"] < least) | (rows["denominator"] - rows["n"] < least)
    differs = (shown != rows["denominator"]).fill_null(True)
    too_few = rows["denominator"] < rules.minimum_people_for_percentile
    return found, few | differs | too_few


def _joined(rows: pl.DataFrame, other: pl.DataFrame, key: list[str]) -> pl.DataFrame:
    kinds = {name: rows.schema[name] for name in key}
    return rows.join(other.cast(kinds), on=key, how="left", nulls_equal=True, maintain_order="left")
