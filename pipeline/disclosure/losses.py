"""What is lost when a cell is withheld: which cells go with it, and how dear each is.

Dearest of all are the headlines: all sites, both sexes, and the widest group of adults or of children. They are what
most readers come for, so single sites, sexes and ages go first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pipeline import measures
from pipeline.disclosure.cells import SET_ASIDE, Cells

OF_A_CELL, OF_A_HEADLINE = 10, 1000  # an empty cell is worth that many people; a headline that many other cells
CHILDREN_TO, ADULTS_FROM = measures.AGE_TOTALS[0][1], measures.AGE_TOTALS[1][0]


@dataclass(frozen=True)
class Losses:
    """Shapes   all (cells,). Units  loss: people times figures."""

    parent: np.ndarray  # a cell goes where its parent goes
    twins: np.ndarray  # number of the class: cells that are one count in several tables go together
    rank: np.ndarray  # how much a cell sums up: dear totals are withheld last
    loss: np.ndarray
    is_headline: np.ndarray  # withheld only where nothing else will do
    price: np.ndarray  # what withholding the cell costs: loss, more for what sums up more
    is_rows: np.ndarray  # counts rows, not people
    hidden: np.ndarray  # shown by no row whatever is withheld, nor is a twin: that costs nothing and takes nobody along

    @classmethod
    def of(cls, cells: Cells, equations: pl.DataFrame, hidden: np.ndarray | None = None) -> Losses:
        """hidden: (cells,) of bool, what no row of the release shows; nothing unless given."""
        # people who have a measure are no more than everybody, which proof.py knows: neither takes the other along
        is_people = (cells.frame["kind"] == "people").to_numpy()
        parent = np.where(is_people, np.arange(is_people.size), cells.frame["parent"].to_numpy())
        twins = _twin_classes(equations, parent.size)
        # what is set aside is told by the readings that count, and costs them
        priced = np.where(cells.frame["family"] == SET_ASIDE, parent, np.arange(parent.size))
        count, figures = cells.frame["count"].to_numpy(), _figures_lost(parent, twins)
        rank, headlines = _rank_of_totals(equations, parent.size), _most_of_twins(_headlines(cells.frame), twins)
        loss = count * figures
        price = (loss + OF_A_CELL * figures) * (1.0 + rank) * np.where(headlines, OF_A_HEADLINE, 1)
        return cls(
            parent,
            twins,
            rank[priced],
            loss[priced],
            headlines,
            price[priced],
            (cells.frame["kind"] == "rows").to_numpy(),
            np.zeros(parent.size, dtype=bool) if hidden is None else ~_most_of_twins(~hidden, twins),
        )


def with_company(withheld: np.ndarray, losses: Losses) -> np.ndarray:
    """The withheld cells and those that go with them: children, twins, and theirs in turn."""
    while True:
        gone = withheld | (withheld & ~losses.hidden)[losses.parent]
        gone |= np.bincount(losses.twins, gone)[losses.twins] > 0
        if (gone == withheld).all():
            return gone
        withheld = gone


def _twin_classes(equations: pl.DataFrame, cells: int) -> np.ndarray:
    pairs = equations.filter(kind="twin")
    one = pairs.filter("is_total")["cell"].to_numpy()
    other = pairs.filter(~pl.col("is_total"))["cell"].to_numpy()
    links = coo_array((np.ones(one.size), (one, other)), shape=(cells, cells))
    return connected_components(links, directed=False)[1]


def _most_of_twins(values: np.ndarray, twins: np.ndarray) -> np.ndarray:
    most = np.zeros(values.size, dtype=values.dtype)
    np.maximum.at(most, twins, values)
    return most[twins]


def _headlines(frame: pl.DataFrame) -> np.ndarray:
    """All sites and both sexes, of each measure or banding its widest ages from 20 on and up to 19."""
    counted = frame.filter(pl.col("kind") != "rows")
    width = pl.col("age_to") - pl.col("age_from")
    stage = pl.when(pl.col("age_from") >= ADULTS_FROM).then(1).when(pl.col("age_to") <= CHILDREN_TO).then(2)
    together = counted.filter((pl.col("site") == "") & (pl.col("sex") == "all"))
    staged = together.with_columns(stage=stage, width=width).drop_nulls("stage")
    widest = staged.filter(pl.col("width") == pl.col("width").max().over("kind", "family", "period", "stage"))
    return np.isin(np.arange(frame.height), widest["cell"].to_numpy())


def _figures_lost(parent: np.ndarray, twins: np.ndarray) -> np.ndarray:
    """How many cells go when a cell goes: its twins, and all that hang on any of them, at most two steps away."""
    own, grand = np.arange(parent.size), parent[parent]
    hanging = np.bincount(parent[parent != own], minlength=parent.size) + np.bincount(
        grand[grand != parent], minlength=parent.size
    )
    return np.bincount(twins, 1 + hanging)[twins]


def _rank_of_totals(equations: pl.DataFrame, cells: int) -> np.ndarray:
    """All sites weigh most, then both sexes, then the rest.

    An age total inside a wider one weighs more than the wider: the widest range is the vaguest figure.
    """
    weights = {"site": 8, "sex": 4}
    summing = equations.filter(pl.col("kind") != "twin")
    cell, is_total = summing["cell"].to_numpy(), summing["is_total"].to_numpy()
    rank = np.zeros(cells, dtype=np.int64)
    for kind in summing["kind"].unique().sort():
        here = (summing["kind"] == kind).to_numpy()
        totals, parts = (_marked(cell[here & side], cells) for side in (is_total, ~is_total))
        rank += totals * weights.get(kind, 1)
        if kind == "age":
            rank += totals & parts
    return rank


def _marked(cell: np.ndarray, cells: int) -> np.ndarray:
    marked = np.zeros(cells, dtype=bool)
    marked[cell] = True
    return marked
