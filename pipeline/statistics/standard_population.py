"""A published standard population → weights over the ages that are compared."""

from __future__ import annotations

import polars as pl

from pipeline.measures import AGE_HIGH


def standard_weights(standards: pl.DataFrame, standard: str, age_from: int, age_to: int) -> pl.DataFrame:
    """The standard's own age bands between two ages, with weights that add to 1 over them.

    Shapes   standards: columns standard, age_band, weight; out: columns age_from, age_to, weight, sorted.
    Units    ages in whole years, both ends within; weights as shares of the ages asked for: published standards add
             to their own totals (WHO's percentages to 100.035), so they are always divided by their sum.
    Missing  an open band at the top (95+) stands whole for its ages up to the programme's highest; a band that lies
             outside the ages is left out.
    Errors   ValueError for an unknown standard, with the choices, and for an age at which a band would be split:
             how people are spread inside a band is not published.
    Source   bands and weights: pipeline/reference/standard_populations.csv. Checked in
             tests/published/test_direct_standardisation.py.
    """
    choices = standards["standard"].unique().sort().to_list()
    if standard not in choices:
        raise ValueError(f"no standard population {standard}; choices are {', '.join(choices)}")
    inside = []
    for band, weight in standards.filter(pl.col("standard") == standard).select("age_band", "weight").rows():
        low, high = _ages(band)
        if low > age_to or high < age_from:
            continue
        if low < age_from or high > age_to:
            raise ValueError(
                f"standard population {standard} has the band {band}; ages {age_from} to {age_to} "
                "would split it: choose ages that begin and end where bands do"
            )
        inside.append((low, high, weight))
    bands = pl.DataFrame(
        inside, orient="row", schema={"age_from": pl.Int16, "age_to": pl.Int16, "weight": pl.Float64}
    )
    return bands.sort("age_from").with_columns(pl.col("weight") / pl.col("weight").sum())


def _ages(band: str) -> tuple[int, int]:
    if band.endswith("+"):
        low = int(band[:-1])
        return low, max(low, AGE_HIGH)
    low, _, high = band.partition("-")
    return int(low), int(high or low)
