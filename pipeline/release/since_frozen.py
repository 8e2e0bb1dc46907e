"""How `published/latest`, the programme's own working view, stands beside what is frozen."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.release.frozen import folder_of, versions_in

_KEY = ["banding", "band", "population", "site", "period", "sex", "age_from", "age_to"]


def counts_that_differ(published: Path) -> dict[str, int]:
    """Period → how many counts of people `latest` shows otherwise than the last frozen version; only where any does.

    A count that only one of them shows is no difference here. Nothing is told of how much a count differs.
    """
    latest = published / "latest" / "data" / "prevalence.parquet"
    last = {version.period: version for version in versions_in(published)}
    if not last or not latest.is_file():
        return {}
    now = pl.read_parquet(latest, glob=False, columns=[*_KEY, "n", "denominator"])
    found = {}
    for period, version in last.items():
        path = folder_of(published, version) / "data" / "prevalence.parquet"
        if not path.is_file():
            continue  # `evenbeam verify` says so
        both = now.filter(pl.col("period") == period).join(
            pl.read_parquet(path, glob=False, columns=[*_KEY, "n", "denominator"]),
            on=_KEY, suffix="_then", nulls_equal=True,
        )  # fmt: skip
        n = both.select(
            ((pl.col("n") != pl.col("n_then")) | (pl.col("denominator") != pl.col("denominator_then")))
            .fill_null(False)
            .sum()
        ).item()
        if n:
            found[period] = n
    return found
