"""What is lost when a cell is withheld: which cells go with it, and how dear each is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pipeline.disclosure.cells import Cells


@dataclass(frozen=True)
class Losses:
    """Shapes   all (cells,). Units  loss: people times figures."""

    parent: np.ndarray  # a cell goes where its parent goes
    twins: np.ndarray  # number of the class: cells that are one count in several tables go together
    rank: np.ndarray  # how much a cell sums up: dear totals are withheld last
    loss: np.ndarray
    is_rows: np.ndarray  # counts rows, not people

    @classmethod
    def of(cls, cells: Cells, equations: pl.DataFrame) -> Losses:
        parent = cells.frame["parent"].to_numpy()
        twins = _twin_classes(equations, parent.size)
        return cls(
            parent,
            twins,
            _rank_of_totals(equations, parent.size),
            cells.frame["count"].to_numpy() * _figures_lost(parent, twins),
            (cells.frame["kind"] == "rows").to_numpy(),
        )


def with_company(withheld: np.ndarray, losses: Losses) -> np.ndarray:
    """The withheld cells and those that go with them: children, twins, and theirs in turn."""
    while True:
        gone = withheld | withheld[losses.parent]
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
    summing = equations.filter(pl.col("kind") != "twin").select("kind", "cell", "is_total").unique()
    totals = summing.filter("is_total").with_columns(
        weight=pl.col("kind").replace_strict(weights, default=1, return_dtype=pl.Int64)
    )
    ages = summing.filter(kind="age")
    inner = ages.filter("is_total").join(ages.filter(~pl.col("is_total")), on="cell", how="semi")
    return np.bincount(totals["cell"].to_numpy(), totals["weight"].to_numpy(), cells) + np.bincount(
        inner["cell"].to_numpy(), minlength=cells
    )
