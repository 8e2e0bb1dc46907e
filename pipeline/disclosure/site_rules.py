"""Sites compared, and analysers and sites as instruments: what of them may be shown.

site_comparison     withheld where the crude count of that site is, in prevalence or percentile. Expected numbers
                    stand on how many people of each age and sex a site has, finer than what is shown: they are
                    told in whole people, ratios and shares to a step of at least one person, scores to a tenth.
site_heterogeneity  withheld where the count of all sites is, or with fewer than LEAST_SITES sites: of two, each is
                    given away by the other. Sums of squares over sites keep two digits.
device              withheld under minimum_count people; people as a whole multiple of it.
instrument_check    rows, not people, yet small numbers of them go as in data_quality. Counts are told as whole
                    multiples of minimum_count and shares to a step of as many rows, so that all periods less the
                    shown ones give no count away; shares of digits keep two digits, as no other table has them.
"""

from __future__ import annotations

import polars as pl

from pipeline.disclosure.rounding import (
    down_to_multiple,
    downward,
    step_of,
    to_nearest,
    to_significant,
    upward,
)
from pipeline.disclosure.stretches import begins_stretch
from pipeline.programme import Disclosure

LEAST_SITES = 3
_CELL = ["topic", "band", "period", "sex", "age_from", "age_to"]
_SHARES = ("value", "shrunken")
_LOW = ("low", "funnel_low_95", "funnel_low_998", "shrunken_low")
_HIGH = ("high", "funnel_high_95", "funnel_high_998", "shrunken_high")
_RATIOS = ("ratio", "ratio_low", "ratio_high")
_SQUARES = ("between_sd", "i_squared", "q", "p", "overdispersion")


def site_comparison_as_published(
    rows: pl.DataFrame, prevalence: pl.DataFrame, percentile: pl.DataFrame, rules: Disclosure
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld. Shapes   prevalence, percentile: protected."""
    shown = _shown_people(rows, [*_CELL, "site"], prevalence, percentile)
    is_band = pl.col("band") != ""
    share = step_of(1 / pl.col("denominator"))
    ratio = step_of(1 / pl.max_horizontal(pl.col("expected"), pl.lit(1.0)))
    found = rows.with_columns(
        *(_banded(is_band, name, to_nearest(pl.col(name), share)) for name in _SHARES),
        *(_banded(is_band, name, downward(pl.col(name), share)) for name in _LOW),
        *(_banded(is_band, name, upward(pl.col(name), share)) for name in _HIGH),
        *(_banded(is_band, name, to_nearest(pl.col(name), ratio)) for name in _RATIOS),
        reference=_banded(is_band, "reference", to_nearest(pl.col("reference"), 0.001)),
        expected=_banded(is_band, "expected", to_nearest(pl.col("expected"), 1.0)),
        score=to_nearest(pl.col("score"), 0.1),
        q_value=to_significant(pl.col("q_value"), 2),
    )
    few = (rows["band"] == "") & (rows["denominator"] < rules.minimum_people_for_percentile)
    return found, ~shown | few


def _banded(is_band: pl.Expr, name: str, figure: pl.Expr) -> pl.Expr:
    """The rounded figure of a band; of a mean, which holds no count of a band, four digits."""
    return pl.when(is_band).then(figure).otherwise(to_significant(pl.col(name), 4)).alias(name)


def site_heterogeneity_as_published(
    rows: pl.DataFrame, prevalence: pl.DataFrame, percentile: pl.DataFrame, rules: Disclosure
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld. Shapes   prevalence, percentile: protected."""
    everyone = rows.with_columns(site=pl.lit(None, dtype=pl.String))
    shown = _shown_people(everyone, [*_CELL, "site"], prevalence, percentile)
    found = rows.with_columns(
        *(to_significant(pl.col(name), 4) for name in ("mean", "low", "high")),
        *(to_significant(pl.col(name), 2) for name in _SQUARES),
    )
    return found, ~shown | (rows["sites"] < LEAST_SITES)


def _shown_people(
    rows: pl.DataFrame, key: list[str], prevalence: pl.DataFrame, percentile: pl.DataFrame
) -> pl.Series:
    """Whether the crude count of each row is published: of its band, or of the people who have its measure."""
    place = ["site", "period", "sex", "age_from", "age_to"]
    counted = percentile.filter(pl.col("n").is_not_null()).select("measure", *place)
    shown = pl.concat(
        [
            prevalence.filter(pl.col("n").is_not_null()).select(
                pl.col("banding").alias("topic"), "band", *place
            ),
            counted.filter(begins_stretch(counted, counted.columns))
            .unique()
            .select(pl.col("measure").alias("topic"), pl.lit("").alias("band"), *place),
        ],
        how="vertical_relaxed",
    ).with_columns(is_shown=pl.lit(True))
    kinds = {name: rows.schema[name] for name in key}
    joined = rows.join(shown.cast(kinds), on=key, how="left", nulls_equal=True, maintain_order="left")
    return joined["is_shown"].fill_null(False)


def device_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded counts, and whether each is withheld."""
    figures = ("difference", "low", "high", "upper_sum", "lower_sum")
    found = rows.with_columns(
        *(to_significant(pl.col(name), 3) for name in figures),
        n=down_to_multiple(pl.col("n"), rules.minimum_count),
    )
    return found, rows["n"] < rules.minimum_count


def instrument_check_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld."""
    least = rules.minimum_count
    is_digit = pl.col("check").str.starts_with("terminal_digit")
    share = to_nearest(pl.col("value"), step_of(least / pl.col("denominator")))
    found = rows.with_columns(
        n=to_nearest(pl.col("n").cast(pl.Float64), float(least)).cast(pl.Int64),
        denominator=down_to_multiple(pl.col("denominator"), least),
        value=pl.when(is_digit).then(to_significant(pl.col("value"), 2)).otherwise(share),
        statistic=to_significant(pl.col("statistic"), 2),
        p=to_significant(pl.col("p"), 1),
    )
    few = (rows["n"] >= 1) & (rows["n"] < least)
    return found, few | (rows["denominator"] < least)
