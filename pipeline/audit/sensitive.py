"""Which counts a reader must not learn, and how far apart the values must lie that they cannot tell between."""

from __future__ import annotations

import polars as pl

from pipeline.audit.shown_counts import GROUP, KEY


def sensitive_counts(true: pl.DataFrame, minimum: int) -> pl.DataFrame:
    """The sensitive counts of people: KEY, n, width.

    A group of 1 to m - 1 people; a band of 1 to m - 1 of a group; a band with fewer than m of its group outside it
    while somebody is in it and the group has at least m. width is the size of the group, or m / 2 where that is less.

    Shapes   true: KEY, n, of the results.   Units  people.
    """
    groups = true.filter(kind="people").select(*GROUP, whole="n")
    counted = true.join(groups, on=GROUP, how="left", maintain_order="left")
    few = pl.col("n").is_between(1, minimum - 1)
    is_band = pl.col("kind") == "band"
    rest = pl.col("whole") - pl.col("n")
    all_but_few = is_band & (pl.col("n") > 0) & (pl.col("whole") >= minimum) & rest.is_between(0, minimum - 1)
    width = pl.min_horizontal(pl.when(is_band).then("whole").otherwise("n"), pl.lit(minimum / 2))
    return counted.filter(few | all_but_few).select(*KEY, "n", width=width.cast(pl.Float64))
