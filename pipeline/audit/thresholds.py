"""Percentiles, and shares below a centile, as what they say of bands: so many people at least below an edge, or above.

A published percentile p of n people is Hyndman and Fan's type 7: at least k = floor(1 + (n - 1) p / 100) people have
the value or less, and at least n - k the value or more. Its limits are order statistics themselves. Where the value
lies below an edge of a banding of the same measure, at least k people are in the bands below the edge; where it lies
above, at least n - k are in the bands from there on. Sources: Hyndman & Fan, Am Stat 1996;50:361-5; Hahn & Meeker 1991,
chapter 5. Where sites as clusters moved the limits, their ranks are not told, and only the value is read.

The shares of who_position are told to a multiple of minimum_count, so at least n - m / 2 and at most n + m / 2 people
lie below the centile.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.special import bdtrik, ndtri

from pipeline.audit.scales import CUTS
from pipeline.measures import BANDINGS

CONFIDENCE = 0.95
CLUSTERED = "clusters"  # in the method of percentiles whose limits have ranks of their own
_GROUP = ["site", "period", "sex", "age_from", "age_to"]
BOUND = {"banding": pl.String, "below": pl.Int64, **dict.fromkeys(_GROUP[:3], pl.String),
         "age_from": pl.Int64, "age_to": pl.Int64, "least": pl.Float64, "most": pl.Float64}  # fmt: skip


def bounds_below(percentile: pl.DataFrame, position: pl.DataFrame, minimum: int) -> pl.DataFrame:
    """least <= people in the first `below` bands of a banding <= most, for each group of which figures are published.

    Shapes   percentile, who_position: as published; out: columns BOUND, one row a banding, number of bands and group.
    """
    parts = [pl.DataFrame(schema=BOUND)]
    if percentile.height:
        ranks = _ranks(percentile.filter(pl.col("n").is_not_null()))
        parts += [_of_banding(ranks, name, measure, edges) for name, (measure, edges) in CUTS.items()]
    if position.height:
        parts.append(_of_positions(position, minimum))
    every = pl.concat(parts)
    return every.group_by("banding", "below", *_GROUP, maintain_order=True).agg(
        pl.col("least").max(), pl.col("most").min()
    )


def _ranks(rows: pl.DataFrame) -> pl.DataFrame:
    """measure, group, n, value, at_most: so many have the value or less; at_least: so many the value or more."""
    n, share = rows["n"].to_numpy(), rows["percentile"].to_numpy() / 100
    k = 1 + ((n - 1) * rows["percentile"].cast(pl.Int64).to_numpy()) // 100
    tail = (1 - CONFIDENCE) / 2
    lower, upper = _quantile(tail, n, share), _quantile(1 - tail, n, share) + 1
    is_ranked = ~rows["method"].str.contains(CLUSTERED, literal=True)
    parts = [("value", k, n - k), ("low", lower, n - lower + 1), ("high", upper, n - upper + 1)]
    return pl.concat(
        rows.select(
            "measure",
            pl.col("site").fill_null(""),
            "period",
            "sex",
            pl.col("age_from").cast(pl.Int64),
            pl.col("age_to").cast(pl.Int64),
            "n",
            value=name,
            at_most=pl.Series(at_most).cast(pl.Int64),
            at_least=pl.Series(at_least).cast(pl.Int64),
        ).filter(pl.col("value").is_not_null() & (is_ranked | pl.lit(name == "value")))
        for name, at_most, at_least in parts
    )


def _quantile(probability: float, n: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The quantile function of Binomial(n, share), as whole numbers."""
    return np.ceil(bdtrik(probability, n, share) - 1e-9).astype(np.int64)


def _of_banding(ranks: pl.DataFrame, banding: str, measure: str, edges: tuple[float, ...]) -> pl.DataFrame:
    of = BANDINGS[banding]
    inside = ranks.filter(
        (pl.col("measure") == measure) & (pl.col("age_from") >= of.age_from) & (pl.col("age_to") <= of.age_to)
    )
    return pl.concat(
        inside.group_by(_GROUP, maintain_order=True)
        .agg(
            least=pl.col("at_most").filter(pl.col("value") < edge).max().fill_null(0).cast(pl.Float64),
            most=pl.col("n").first()
            - pl.col("at_least").filter(pl.col("value") > edge).max().fill_null(0).cast(pl.Float64),
        )
        .select(*_GROUP, "least", "most", banding=pl.lit(banding), below=pl.lit(i + 1, dtype=pl.Int64))
        .select(list(BOUND))
        for i, edge in enumerate(edges)
    )


def _of_positions(position: pl.DataFrame, minimum: int) -> pl.DataFrame:
    shown = position.filter(pl.col("n").is_not_null())
    edges = CUTS["bmi_child"][1]
    found = [pl.DataFrame(schema=BOUND)]
    for (centile,), rows in shown.group_by(["percentile"], maintain_order=True):
        z = float(ndtri(centile / 100))
        above = sum(edge < z for edge in edges)  # edges below the centile: bands wholly below it
        group = {"site": pl.lit(""), **{name: pl.col(name) for name in _GROUP[1:]}}
        for below, least, most in (
            (above, pl.lit(0.0), pl.col("n") + minimum / 2),
            (above + 1, pl.col("n") - minimum / 2, pl.lit(np.inf)),
        ):
            if 0 < below <= len(edges):
                found.append(
                    rows.select(
                        banding=pl.lit("bmi_child"), below=pl.lit(below), **group, least=least, most=most
                    ).cast(BOUND)
                )
    return pl.concat(found)


def counts_below(bounds: pl.DataFrame) -> pl.DataFrame:
    """The bands of each bound: bound (row number) and KEY, one row a band, for Atoms.sums."""
    bands = pl.DataFrame(
        [
            (name, below, band.name)
            for name in CUTS
            for below in range(1, len(BANDINGS[name].bands))
            for band in BANDINGS[name].bands[:below]
        ],
        schema={"banding": pl.String, "below": pl.Int64, "band": pl.String},
        orient="row",
    )
    return (
        bounds.with_row_index("bound")
        .join(bands, on=["banding", "below"], maintain_order="left")
        .select(
            "bound",
            kind=pl.lit("band"),
            family="banding",
            band="band",
            **{name: pl.col(name) for name in _GROUP},
        )
    )
