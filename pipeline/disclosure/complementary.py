"""Further cells to withhold, so that no withheld cell follows from one published sum.

A first, local repair. For each equation of a release (equations.py) in turn:

    - what is withheld in it must be more than one cell, or subtraction gives the cell back;
    - where its total is published, the withheld parts together are a count that subtraction gives: it must be
      0 or at least the minimum, like any count. Of rows this is not asked.

Where one of the two fails, one more cell of that equation is withheld: no headline while there is another, one
that mends it, empty bands and totals last, then the one with the least loss, in people times figures that go with
it. That can break an equation of another kind, so the kinds take turns until none is left. Twins are decided
together.

What it does not see: several equations put together. widening.py takes those up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.equations import KINDS
from pipeline.disclosure.losses import Losses, with_company


def with_complements(
    cells: Cells,
    equations: pl.DataFrame,
    sensitive: np.ndarray,
    minimum_count: int,
    losses: Losses,
    *,
    is_proven: bool = False,
) -> np.ndarray:
    """The sensitive cells and those withheld to protect them.

    Shapes   equations: as equations_of gives them; sensitive, out: (cells,) of bool; sensitive is within out.
             is_proven: a withheld cell that follows is not mended, because it is proven that none which must not does.
    Errors   none: when every cell of an equation is withheld, it tells nothing.
    The same input gives the same output: ties go to the lower cell number.
    """
    return Complements.of(cells, equations, losses).of_what_is(sensitive, minimum_count, is_proven=is_proven)


@dataclass(frozen=True)
class Complements:
    """with_complements, of what does not change from one set of withheld cells to the next.

    stages: the equations of each kind, first those among groups and rows.
    """

    stages: tuple[tuple[_Equations, ...], ...]
    equation: np.ndarray
    cell: np.ndarray
    losses: Losses

    @classmethod
    def of(cls, cells: Cells, equations: pl.DataFrame, losses: Losses) -> Complements:
        count = cells.frame["count"].to_numpy()
        stages = tuple(
            tuple(
                _Equations(rows, count, losses)
                for kind in KINDS
                if kind != "twin" and (rows := stage.filter(kind=kind)).height
            )
            for stage in _stages(equations, cells.frame)
        )
        return cls(stages, equations["equation"].to_numpy(), equations["cell"].to_numpy(), losses)

    def of_what_is(self, withheld: np.ndarray, minimum_count: int, *, is_proven: bool = False) -> np.ndarray:
        withheld = with_company(withheld, self.losses)
        withheld |= self._still_hidden(withheld)
        for by_kind in self.stages:
            turn, quiet = 0, 0
            while quiet < len(by_kind):
                chosen = by_kind[turn % len(by_kind)].mend(withheld, minimum_count, is_proven)
                withheld[chosen] = True
                withheld = with_company(withheld, self.losses)
                quiet = 0 if chosen.size else quiet + 1
                turn += 1
        return withheld

    def _still_hidden(self, withheld: np.ndarray) -> np.ndarray:
        """Of the cells that no row shows those that do not follow from one published sum after the other.

        One that does is as good as published: nothing hides behind it, and nothing need be withheld to keep it.
        """
        hidden = self.losses.hidden & ~withheld
        while hidden.any():
            gone = (withheld | hidden)[self.cell]
            alone = gone & (np.bincount(self.equation, gone)[self.equation] == 1)
            follows = self.cell[alone & hidden[self.cell]]
            if not follows.size:
                break
            hidden[follows] = False
        return hidden


def without_followers(
    equations: pl.DataFrame, sensitive: np.ndarray, withheld: np.ndarray, losses: Losses
) -> np.ndarray:
    """The withheld cells less those that follow from one published sum after the other, where these are not sensitive.

    Shapes   all (cells,) of bool. A reader has such a cell anyway: to publish it tells nobody more, and what is proven
    of the others stays proven.
    """
    entries = equations.filter(pl.col("kind") != "twin")
    equation, cell = entries["equation"].to_numpy(), entries["cell"].to_numpy()
    kept = _any_of_twins(sensitive, losses)
    while True:
        gone = (withheld | losses.hidden)[cell]
        alone = gone & (np.bincount(equation, gone)[equation] == 1)
        follows = np.zeros_like(withheld)
        follows[cell[alone]] = True
        goes_with = (withheld & ~losses.hidden)[losses.parent] & (losses.parent != np.arange(withheld.size))
        follows = _any_of_twins(follows, losses) & withheld & ~kept & ~_any_of_twins(goes_with, losses)
        if not follows.any():
            return withheld
        withheld = withheld & ~follows


def _any_of_twins(marked: np.ndarray, losses: Losses) -> np.ndarray:
    return np.bincount(losses.twins, marked)[losses.twins] > 0


def _stages(equations: pl.DataFrame, frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Equations among groups and rows, then those with bands: a group takes its bands along, never the reverse."""
    of_bands = frame.filter(pl.col("kind").is_in(["band", "between"]))["cell"]
    with_bands = equations.filter(pl.col("cell").is_in(of_bands.implode()))["equation"].unique()
    is_late = pl.col("equation").is_in(with_bands.implode())
    return equations.filter(~is_late), equations.filter(is_late)


class _Equations:
    """The equations of one kind as arrays, one entry a cell of an equation."""

    def __init__(self, rows: pl.DataFrame, count: np.ndarray, losses: Losses):
        self.equation = (rows["equation"] - rows["equation"].min()).to_numpy().astype(np.int64)
        self.cell = rows["cell"].to_numpy().astype(np.int64)
        self.is_total = rows["is_total"].to_numpy()
        self.is_people = ~losses.is_rows[self.cell]
        self.count, self.rank, self.loss = count[self.cell], losses.rank[self.cell], losses.loss[self.cell]
        self.is_headline = losses.is_headline[self.cell]
        self.size = int(self.equation.max()) + 1
        # A group is not withheld to protect its bands: enough other bands can be, and its people stay known.
        self.may_go = ~(self.is_total & (rows["kind"] == "band").to_numpy())

    def mend(self, withheld: np.ndarray, minimum_count: int, is_proven: bool) -> np.ndarray:
        """One more cell for each equation that gives something away, but once only for a cell that is given away.

        Age groups stand in several equations, and what one of them withholds often mends the others too.
        """
        gone = withheld[self.cell]
        unknown = np.bincount(self.equation, gone, self.size)
        total_gone = np.bincount(self.equation, gone & self.is_total, self.size) > 0
        sum_gone = np.bincount(self.equation, self.count * (gone & ~self.is_total), self.size)
        of_people = np.bincount(self.equation, self.is_people, self.size) > 0
        follows = (unknown == 1) & (not is_proven)
        gives_away = follows | (of_people & ~total_gone & (sum_gone > 0) & (sum_gone < minimum_count))
        gives_away &= self._comes_first(gives_away, gone)
        here = np.flatnonzero(gives_away[self.equation] & ~gone & self.may_go)
        equation = self.equation[here]
        is_enough = sum_gone[equation] + self.count[here] >= minimum_count
        would_mend = self.is_total[here] | total_gone[equation] | is_enough | ~of_people[equation]
        is_empty = (self.count[here] == 0) & of_people[equation]
        dearness = (self.loss[here], self.rank[here], is_empty, ~would_mend, self.is_headline[here])
        order = np.lexsort((self.cell[here], *dearness, equation))
        _, first = np.unique(equation[order], return_index=True)
        return np.unique(self.cell[here[order[first]]])

    def _comes_first(self, gives_away: np.ndarray, gone: np.ndarray) -> np.ndarray:
        """Whether an equation is the first, of those that give something away, for each of its withheld cells."""
        here = np.flatnonzero(gives_away[self.equation] & gone)
        first = np.full(int(self.cell.max()) + 1, self.size)
        np.minimum.at(first, self.cell[here], self.equation[here])
        later = here[first[self.cell[here]] < self.equation[here]]
        return np.bincount(self.equation[later], minlength=self.size) == 0
