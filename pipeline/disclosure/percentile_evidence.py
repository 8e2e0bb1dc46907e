"""What published percentiles say of the bands beside them: at least, or at most, so many people below an edge.

A percentile of n people is Hyndman and Fan's type 7: with k = floor(1 + (n - 1) p / 100), at least k people have its
value or less, and at least n - k its value or more. A limit of its interval is an order statistic itself, of a rank
that n and p tell, unless sites as clusters moved it. Where such a value lies below an edge of a banding of the same
measure, so many people at least are below the edge; where it lies above, so many at most. Equal to the edge it says
nothing: the value is rounded, the band is not.

Sources  Hyndman & Fan, Am Stat 1996;50:361-5; Hahn & Meeker 1991, chapter 5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.sparse import csr_array
from scipy.stats import binom

from pipeline import measures
from pipeline.disclosure.cells import GROUP, Cells, group_of_percentile
from pipeline.disclosure.percentile_tail import CONFIDENCE

FIGURES = ("value", "low", "high")
CLUSTERED = "clusters"  # in the method of a percentile whose limits have ranks of their own
# banding → the measure it cuts and the upper edges of its bands; bandings that cut elsewhere for each sex, age or
# second measure are not compared with percentiles, which are of all these together or of one measure alone
EDGES = {
    "bmi_adult": ("bmi", (18.5, 25.0, 30.0, 35.0, 40.0)),
    "bmi_adult_asian": ("bmi", (18.5, 23.0, 27.5)),
    "bmi_child": ("bmi_z", (-3.0, -2.0, 1.0, 2.0)),
    "visceral_fat": ("visceral_fat_level", (12.5,)),
}
_EDGE = ["family", *GROUP, "edge"]


@dataclass(frozen=True)
class Evidence:
    """Statements of percentiles on people below edges.

    Shapes   below: (edges, cells) of 0 and 1, the bands below each edge of each group; members: likewise, all bands
             of the group; row, figure, edge, is_least and
             slack: (statements,). row: of the percentile table; figure: place in FIGURES; is_least: at least so many
             (else at most); slack: by how many people the true number below the edge keeps away from that.
    Units    people.
    """

    below: csr_array
    members: csr_array
    row: np.ndarray
    figure: np.ndarray
    edge: np.ndarray
    is_least: np.ndarray
    slack: np.ndarray

    def tightest(self) -> tuple[np.ndarray, np.ndarray]:
        """How far the number below each edge may fall, and rise, for all statements to stay true. (edges,) each."""
        fall, rise = (np.full(self.below.shape[0], np.inf) for _ in range(2))
        np.minimum.at(fall, self.edge[self.is_least], self.slack[self.is_least])
        np.minimum.at(rise, self.edge[~self.is_least], self.slack[~self.is_least])
        return fall, rise

    def broken_by(self, fall: np.ndarray, rise: np.ndarray) -> np.ndarray:
        """The statements that a fall and a rise of the numbers below the edges would make untrue. (statements,)"""
        moved = np.where(self.is_least, fall[self.edge], rise[self.edge])
        return moved > self.slack + 1e-6


def evidence_of(cells: Cells, percentile: pl.DataFrame, is_open: np.ndarray) -> Evidence:
    """Shapes   percentile: unsuppressed; is_open: (rows,) of bool, rows of which something may be shown."""
    edges, below, members = _edges(cells)
    statements = _statements(percentile, is_open)
    found = statements.join(edges, on=["family", *GROUP], how="inner", maintain_order="left").with_columns(
        is_least=pl.col("value") < pl.col("at"), is_most=pl.col("value") > pl.col("at")
    )
    found = found.filter(pl.col("is_least") | pl.col("is_most"))
    slack = (
        pl.when("is_least")
        .then(pl.col("people_below") - pl.col("at_most"))
        .otherwise(pl.col("n") - pl.col("at_least") - pl.col("people_below"))
    )
    found = found.with_columns(slack=slack.clip(lower_bound=0))
    return Evidence(
        below,
        members,
        *(found[name].to_numpy() for name in ("row", "figure", "number", "is_least")),
        found["slack"].cast(pl.Float64).to_numpy(),
    )


def _edges(cells: Cells) -> tuple[pl.DataFrame, csr_array, csr_array]:
    """family, GROUP, number, at, people_below: one row an edge of a group; the cells below each, and of its group."""
    table = pl.DataFrame(
        [
            (f"banding {name}", band.name, number, at)
            for name, (_, edges) in EDGES.items()
            for number, at in enumerate(edges)
            for band in measures.BANDINGS[name].bands[: number + 1]
        ],
        schema={"family": pl.String, "band": pl.String, "edge": pl.Int64, "at": pl.Float64},
        orient="row",
    )
    bands = cells.frame.filter(kind="band").join(table, on=["family", "band"], how="inner")
    edges = (
        bands.group_by(_EDGE)
        .agg(pl.col("at").first(), people_below=pl.col("count").sum())
        .sort(_EDGE)
        .with_row_index("number")
    )
    below = bands.join(edges.select(*_EDGE, "number"), on=_EDGE, how="left", maintain_order="left")
    members = edges.select("family", *GROUP, "number").join(
        cells.frame.filter(kind="band"), on=["family", *GROUP], how="inner"
    )
    shape = (edges.height, cells.frame.height)
    return edges.drop("edge"), *(
        csr_array((np.ones(one.height), (one["number"].to_numpy(), one["cell"].to_numpy())), shape=shape)
        for one in (below, members)
    )


def _statements(percentile: pl.DataFrame, is_open: np.ndarray) -> pl.DataFrame:
    """row, figure, family, GROUP, n, value, at_most, at_least: so many have the value or less, so many it or more."""
    cut = {measure for measure, _ in EDGES.values()}
    rows = percentile.with_row_index("row").with_columns(**group_of_percentile(percentile))
    rows = rows.filter(pl.Series(is_open) & pl.col("measure").is_in(cut))
    n, percent = rows["n"].to_numpy(), rows["percentile"].cast(pl.Int64).to_numpy()
    k = 1 + ((n - 1) * percent) // 100
    tail = (1 - CONFIDENCE) / 2
    lower, upper = (binom.ppf(tail, n, percent / 100), binom.ppf(1 - tail, n, percent / 100) + 1)
    told = pl.concat(
        rows.select(
            "row", "measure", "method", *GROUP, "n",
            figure=pl.lit(place), value=pl.col(name),
            at_most=pl.Series(np.asarray(at_most)).cast(pl.Int64),
            at_least=pl.Series(np.asarray(at_least)).cast(pl.Int64),
        )
        for place, (name, at_most, at_least) in enumerate(
            (("value", k, n - k), ("low", lower, n - lower + 1), ("high", upper, n - upper + 1))
        )
    )  # fmt: skip
    told = told.filter(
        pl.col("value").is_not_null()
        & ((pl.col("figure") == 0) | ~pl.col("method").str.contains(CLUSTERED, literal=True))
    )
    families = pl.DataFrame(
        [(measure, f"banding {name}") for name, (measure, _) in EDGES.items()],
        schema={"measure": pl.String, "family": pl.String},
        orient="row",
    )
    return told.join(families, on="measure", how="inner", maintain_order="left")
