"""Which results of a period stand on that period alone: they are protected, kept and told apart a period at a time."""

from __future__ import annotations

import polars as pl

BY_PERIOD = (
    "prevalence",
    "percentile",
    "standardised_prevalence",
    "who_position",
    "site_comparison",
    "site_heterogeneity",
)  # of data_quality the numbers of people do as well


def people_and_rows(data_quality: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows that count people of a period, and those that count rows and readings, whose sums go over periods."""
    counts_people = (pl.col("item") == "people") & pl.col("period").is_not_null()
    return data_quality.filter(counts_people), data_quality.filter(~counts_people)
