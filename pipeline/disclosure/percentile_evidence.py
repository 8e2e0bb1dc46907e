"""What published percentiles say of the bands beside them: at least, or at most, so many people below an edge.

A percentile of n people is Hyndman and Fan's type 7: with k = floor(1 + (n - 1) p / 100), at least k people have its
value or less, and at least n - k its value or more. A limit of its interval is an order statistic itself, of a rank
that n and p tell, unless sites as clusters moved it. Where such a value lies below an edge of a banding of the same
measure, so many people at least are below the edge; where it lies above, so many at most. Equal to the edge it says
nothing: the value is rounded, the band is not.

A share below a centile of the reference is told to a multiple of minimum_count: at most half of that more people than
it says are below the last edge under the centile, and at most so many fewer below the first edge over it.

Sources  Hyndman & Fan, Am Stat 1996;50:361-5; Hahn & Meeker 1991, chapter 5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.sparse import csr_array
from scipy.special import ndtri

from pipeline import measures
from pipeline.disclosure.cells import GROUP, Cells, group_of_percentile
from pipeline.disclosure.percentile_tail import CONFIDENCE
from pipeline.disclosure.rounding import to_nearest
from pipeline.statistics.binomial_quantile import binomial_quantile

FIGURES = ("value", "low", "high")
POSITION = len(FIGURES)  # the place of a share below a centile of the reference, a figure of another table
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
    """Statements of percentiles, and of positions beside the reference, on people below edges.

    Shapes   below: (edges, cells) of 0 and 1, the bands below each edge of each group; members: likewise, all bands
             of the group; row, figure, edge, is_least and slack: (statements,). row: of the percentile table, or of
             who_position where figure is POSITION; figure: place in FIGURES; is_least: at least so many (else at
             most); slack: by how many people the true number below the edge keeps away from that.
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


def evidence_of(
    cells: Cells,
    percentile: pl.DataFrame,
    is_open: np.ndarray,
    position: pl.DataFrame | None = None,
    minimum_count: int = 0,
) -> Evidence:
    """Shapes   percentile, position (who_position): unsuppressed; is_open: (rows,) of bool, rows of which something may
    be shown. Every row of position counts as shown.
    """
    edges, below, members = _edges(cells)
    found = [_of_percentiles(edges, percentile, is_open)]
    if position is not None and position.height:
        found.append(_of_positions(edges, position, minimum_count))
    told = pl.concat(found)
    return Evidence(
        below,
        members,
        *(told[name].to_numpy() for name in ("row", "figure", "number", "is_least")),
        told["slack"].clip(lower_bound=0).to_numpy(),
    )


_TOLD = {
    "row": pl.Int64, "figure": pl.Int64, "number": pl.Int64, "is_least": pl.Boolean, "slack": pl.Float64,
}  # fmt: skip


def _of_percentiles(edges: pl.DataFrame, percentile: pl.DataFrame, is_open: np.ndarray) -> pl.DataFrame:
    """row, figure, number (of the edge), is_least, slack: one row a statement."""
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
    return found.with_columns(slack=slack).select(list(_TOLD)).cast(_TOLD)


def _of_positions(edges: pl.DataFrame, position: pl.DataFrame, minimum_count: int) -> pl.DataFrame:
    """As _of_percentiles, of the shares below the centiles of the reference."""
    at = EDGES["bmi_child"][1]
    cuts = pl.DataFrame(
        [
            (centile, edge, is_least)
            for centile in position["percentile"].unique().sort().to_list()
            for edge, is_least in _nearest(float(ndtri(centile / 100)), at)
        ],
        schema={"percentile": position.schema["percentile"], "at": pl.Float64, "is_least": pl.Boolean},
        orient="row",
    )
    rows = position.with_columns(measure=pl.lit("bmi_z"), site=pl.lit(None, dtype=pl.String)).with_row_index(
        "row"
    )
    rows = rows.with_columns(
        **group_of_percentile(),
        family=pl.lit("banding bmi_child"),
        told=to_nearest(pl.col("n").cast(pl.Float64), float(minimum_count)),
    )
    found = rows.join(cuts, on="percentile").join(
        edges, on=["family", *GROUP, "at"], how="inner", maintain_order="left"
    )
    slack = (
        pl.when("is_least")
        .then(pl.col("people_below") - (pl.col("told") - minimum_count / 2))
        .otherwise(pl.col("told") + minimum_count / 2 - pl.col("people_below"))
    )
    return found.with_columns(figure=pl.lit(POSITION), slack=slack).select(list(_TOLD)).cast(_TOLD)


def _nearest(z: float, edges: tuple[float, ...]) -> list[tuple[float, bool]]:
    """The first edge over a centile, below which so many are at least, and the last one under it, where at most."""
    over, under = [edge for edge in edges if edge > z], [edge for edge in edges if edge < z]
    return [(edge, True) for edge in over[:1]] + [(edge, False) for edge in under[-1:]]


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
    rows = percentile.with_row_index("row").with_columns(**group_of_percentile())
    rows = rows.filter(pl.Series(is_open) & pl.col("measure").is_in(cut))
    n, percent = rows["n"].to_numpy(), rows["percentile"].cast(pl.Int64).to_numpy()
    k = 1 + ((n - 1) * percent) // 100
    tail = (1 - CONFIDENCE) / 2
    lower, upper = binomial_quantile(tail, n, percent / 100), binomial_quantile(1 - tail, n, percent / 100) + 1
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
