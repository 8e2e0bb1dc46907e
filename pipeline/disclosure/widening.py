"""Further cells to withhold, so that several published sums together do not corner a withheld count.

A reader narrows a withheld count down by going round: this sum bounds that cell, which bounds the next. The same is
done here, over all equations at once, until nothing moves. The bounds of a sensitive cell must stay as far apart as
its group is large, or half of minimum_count where that is less. One whose bounds are closer gets one more
withheld cell in the equation that holds it tightest; where none is left to withhold there, it is its neighbours
that are held too tightly. Then the round starts again.

Headlines (losses.py) are held back at first. Only where a cell is still cornered when all else has been tried may they
go too, and they stay when that frees none.

That a withheld count is small is what a reader guesses anyway, since that is why counts are withheld; how many
people it is must not follow. Bounds found by going round hold for sure, but the audit's linear programmes can find
narrower ones, and a cell that nothing near it can loosen stays as it is and is for the audit to report.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells, in_order
from pipeline.disclosure.losses import Losses, with_company

ROUNDS = 40  # bounds hold after any number of rounds; they have settled long before
PATIENCE = 4  # turns that help nobody, before the audit is left to say what is open
NONE = np.iinfo(np.int64).max  # the price of what is not to be had
_SEEDS = (0, 1)


@dataclass(frozen=True)
class Widening:
    """Withholds cells to widen the bounds of sensitive ones; what does not change meanwhile is worked out once.

    nets: the sums of each period, which share no equation; doubled: (cells,), twice the width to keep.
    """

    nets: tuple[_Net, ...]
    doubled: np.ndarray
    losses: Losses

    @classmethod
    def of(
        cls, cells: Cells, equations: pl.DataFrame, sensitive: np.ndarray, minimum_count: int, losses: Losses
    ) -> Widening:
        """Shapes   equations: as equations_of gives them; sensitive: (cells,) of bool.

        A sensitive cell with nobody in it is left alone: that it is empty may follow from an empty total. Every cell
        takes those along that hang on it, hidden or not (with_company).
        """
        losses = replace(losses, hidden=np.zeros_like(losses.hidden))
        count = cells.frame["count"].to_numpy()
        group = np.where((cells.frame["kind"] == "band").to_numpy(), count[losses.parent], count)
        doubled = np.minimum(2 * group, minimum_count)  # half of minimum_count need not be whole
        doubled = np.where(sensitive & (count > 0), doubled, 0)
        of_people = ~losses.is_rows[equations["cell"].to_numpy()]
        sums = equations.filter((pl.col("kind") != "twin") & pl.Series(of_people))
        number = in_order(cells.frame, ["period"])[sums["cell"].to_numpy()]
        nets = (_Net(cells, sums.filter(pl.Series(number == period)), losses) for period in np.unique(number))
        return cls(tuple(nets), doubled, losses)

    def of_what_is(self, withheld: np.ndarray) -> np.ndarray:
        """The withheld cells, and those withheld besides. Shapes   withheld, out: (cells,) of bool."""
        for net in self.nets:
            withheld = _widened(net, self.doubled, withheld, self.losses)
        return withheld


def _widened(net: _Net, doubled: np.ndarray, withheld: np.ndarray, losses: Losses) -> np.ndarray:
    """The withheld cells with those added that one period needs. doubled: (cells,), twice the width to keep."""
    apart = net.most_of(doubled)
    headlines = net.any_of(losses.is_headline)
    spared, cornered = _loosened(net, apart, withheld, headlines, losses)
    if not cornered:
        return spared
    open_to_all, still_cornered = _loosened(net, apart, spared, np.zeros_like(headlines), losses)
    return open_to_all if still_cornered < cornered else spared


def _loosened(
    net: _Net, apart: np.ndarray, withheld: np.ndarray, held_back: np.ndarray, losses: Losses
) -> tuple[np.ndarray, int]:
    """(the withheld cells with those added, how many counts stay cornered). apart, held_back: (classes,)."""
    cornered, steps = apart > 0, 0
    while True:
        gone = net.any_of(withheld)
        low, high = net.bounds(gone)
        before, cornered = cornered, gone & (2 * (high - low) < apart)
        steps = steps + 1 if np.array_equal(before, cornered) else 0  # it did not help: look further
        chosen = net.loosened(np.flatnonzero(cornered), steps, low, high, gone | held_back, gone)
        if not chosen.size or steps > PATIENCE:
            return withheld, int(cornered.sum())
        withheld = with_company(withheld | np.isin(losses.twins, net.classes[chosen]), losses)


class _Net:
    """All equations as arrays, one entry a count of an equation, in the order of the equations, the total first.

    Twins are one count here, numbered by their class, and an equation that comes to the same as another is left out.
    """

    def __init__(self, cells: Cells, equations: pl.DataFrame, losses: Losses):
        twins = losses.twins[equations["cell"].to_numpy()]
        is_here = np.bincount(twins, minlength=losses.twins.max() + 1) > 0
        self.classes, place = np.flatnonzero(is_here), np.cumsum(is_here) - 1
        may_go = ~(pl.col("is_total") & (pl.col("kind") == "band"))
        entries = _distinct(
            equations.select("equation", "is_total", count=pl.Series(place[twins]), may_go=may_go)
        )
        self.members = np.flatnonzero(is_here[losses.twins])
        self.class_of_member = place[losses.twins[self.members]]
        self.cell = entries["count"].to_numpy().astype(np.int64)
        self.may_go = entries["may_go"].to_numpy()
        self.row = entries["equation"].rle_id().to_numpy().astype(np.int64)
        self.first = np.flatnonzero(np.diff(self.row, prepend=-1))
        self.count, self.rank, self.loss = (
            self.most_of(x)
            for x in (
                cells.frame["count"].to_numpy(),
                losses.rank.astype(np.int64),
                losses.loss.astype(np.int64),
            )
        )
        self.is_headline = self.any_of(losses.is_headline)
        self.is_people = self.any_of((cells.frame["kind"] == "people").to_numpy())
        self.far = 10 * int(self.count.max(initial=0)) + 1000  # stands for no bound; larger than any sum here

    def any_of(self, cells: np.ndarray) -> np.ndarray:
        """Of each class whether any of its cells is one of these."""
        return np.bincount(self.class_of_member, cells[self.members], self.classes.size) > 0

    def most_of(self, values: np.ndarray) -> np.ndarray:
        """Of each class the largest value of its cells."""
        most = np.zeros(self.classes.size, dtype=np.int64)
        np.maximum.at(most, self.class_of_member, values[self.members])
        return most

    def bounds(self, withheld: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What a reader knows of each cell by going round; a group with rows has at least one person."""
        low = np.where(withheld, np.where(self.is_people, 1, 0), self.count)
        high = np.where(withheld, self.far, self.count)
        entries = self._entries_beside(withheld)
        moving = np.flatnonzero(withheld[entries.cell])
        if not moving.size:
            return low, high
        moving = moving[np.argsort(entries.cell[moving], kind="stable")]
        first = np.flatnonzero(np.diff(entries.cell[moving], prepend=-1))
        within = entries.cell[moving[first]]
        for _ in range(ROUNDS):
            least, most = entries.bounds(low, high, self.far)
            new_low = np.maximum(low[within], np.maximum.reduceat(least[moving], first))
            new_high = np.minimum(high[within], np.minimum.reduceat(most[moving], first))
            if np.array_equal(new_low, low[within]) and np.array_equal(new_high, high[within]):
                break
            low[within], high[within] = new_low, new_high
        return low, high

    def _entries_beside(self, withheld: np.ndarray) -> _Entries:
        """Those of the equations in which a cell is withheld: no other says anything of a withheld cell."""
        is_open = np.logical_or.reduceat(withheld[self.cell], self.first) if self.first.size else withheld[:0]
        here = np.flatnonzero(is_open[self.row])
        row = self.row[here]
        return _Entries(self.cell[here], row, np.flatnonzero(np.diff(row, prepend=-1)))

    def loosened(
        self,
        cornered: np.ndarray,
        steps: int,
        low: np.ndarray,
        high: np.ndarray,
        not_to_go: np.ndarray,
        withheld: np.ndarray,
    ) -> np.ndarray:
        """Known cells to withhold: for each cornered cell the cheapest in the equation that holds it tightest.

        Where that equation has none left, or the last `steps` turns did not help, the cell follows from its
        neighbours there, and the one of them that is cheapest to loosen is loosened instead.
        """
        cheapest, first = self._cheapest(not_to_go)
        tightest = self._tightest(low, high, withheld)
        chosen, seen = [], np.zeros(withheld.size, dtype=bool)
        while cornered.size:
            seen[cornered] = True
            rows = np.unique(tightest[cornered])
            rows = rows[rows >= 0]
            if steps == 0:
                chosen.append(first[rows[cheapest[rows] < NONE]])
                rows = rows[cheapest[rows] == NONE]
            steps = max(steps - 1, 0)
            entries = np.flatnonzero(np.isin(self.row, rows))
            entries = entries[withheld[self.cell[entries]] & ~seen[self.cell[entries]]]
            beside = self.cell[entries]
            price = np.where(tightest[beside] >= 0, cheapest[tightest[beside]], NONE)
            best = _firsts(self.row[entries], price, beside)
            is_priced = np.isin(self.row[entries], self.row[entries][best[price[best] < NONE]])
            cornered = np.unique(np.concatenate([beside[best[price[best] < NONE]], beside[~is_priced]]))
        return np.unique(np.concatenate(chosen)) if chosen else np.zeros(0, dtype=np.int64)

    def _cheapest(self, not_to_go: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of each equation: how dear its cheapest cell that may go is, as a place in the order of all, and the cell."""
        order = np.lexsort((self.loss, self.rank, self.count == 0, self.is_headline))
        place = np.empty(order.size, dtype=np.int64)
        place[order] = np.arange(order.size)
        known = np.where(~not_to_go[self.cell] & self.may_go, place[self.cell], NONE)
        cheapest = np.minimum.reduceat(known, self.first)
        return cheapest, order[np.minimum(cheapest, order.size - 1)]

    def _tightest(self, low: np.ndarray, high: np.ndarray, withheld: np.ndarray) -> np.ndarray:
        """The equation that holds each withheld cell tightest, on the side where it has less room; -1 for one in none
        and for cells that are not withheld."""
        entries = self._entries_beside(withheld)
        least, most = entries.bounds(low, high, self.far)
        here = np.flatnonzero(withheld[entries.cell])
        cell, row = entries.cell[here], entries.row[here]
        is_above = (high - self.count <= self.count - low)[cell]
        first = _firsts(cell, np.where(is_above, most[here], -least[here]))  # the rows ascend
        tightest = np.full(self.count.size, -1)
        tightest[cell[first]] = row[first]
        return tightest


@dataclass(frozen=True)
class _Entries:
    """Some equations of a net, one entry a count, the total of each first.

    Shapes   first: (equations,), the others (entries,).
    """

    cell: np.ndarray
    row: np.ndarray
    first: np.ndarray

    def bounds(self, low: np.ndarray, high: np.ndarray, far: int) -> tuple[np.ndarray, np.ndarray]:
        """The bounds that each entry's equation puts on its cell, given those of the other cells."""
        if not self.first.size:
            return self.cell, self.cell
        own_low, own_high = low[self.cell], high[self.cell]
        total_low, total_high = own_low[self.first], own_high[self.first]
        part_low = np.add.reduceat(own_low, self.first) - total_low
        part_high = np.add.reduceat(own_high, self.first) - total_high
        least = self._of_each(total_low - part_high) + own_high
        most = self._of_each(total_high - part_low) + own_low
        least[self.first], most[self.first] = part_low, part_high
        return least, np.minimum(most, far)

    def _of_each(self, equations: np.ndarray) -> np.ndarray:
        return np.repeat(equations, np.diff(self.first, append=self.cell.size))


def _firsts(group: np.ndarray, *preferences: np.ndarray) -> np.ndarray:
    """Position of the first of each group, by preferences in order of their weight, then as they come."""
    order = np.lexsort((*reversed(preferences), group))
    return order[np.flatnonzero(np.diff(group[order], prepend=-1))]


def _distinct(entries: pl.DataFrame) -> pl.DataFrame:
    """The entries of one of each set of equations with the same total and parts.

    An equation is told by two sums of 64-bit hashes of its cells: two that differ have the same once in 2 ** 128.
    """
    first = np.flatnonzero(np.diff(entries["equation"].to_numpy().astype(np.int64), prepend=-1))
    cell = entries["count"] * 2 + entries["is_total"].cast(pl.Int64)
    told = pl.DataFrame({str(seed): np.add.reduceat(cell.hash(seed).to_numpy(), first) for seed in _SEEDS})
    is_kept = told.select(pl.struct(pl.all()).is_first_distinct()).to_series().to_numpy()
    return entries.filter(pl.Series(np.repeat(is_kept, np.diff(first, append=entries.height))))
