"""The least value of one sum over a whole release, found among few sites and proved for all.

Sites share only the rows of all sites together. While the other sites stay as they are, the least value among some is a
small programme. Its prices of the shared rows (dual values) ask each other site whether it could lower the sum
further: one small programme over its own rows alone. Whoever could comes in, and when nobody could, the least value
among the few is the least of all: the duality bound of the whole programme says so, and nothing is taken on trust.

Source   Dantzig & Wolfe, Oper Res 1960;8:101-111: decomposition by prices on the rows that blocks share, here with
         whole blocks brought in instead of their corners (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from pipeline.audit.polytope import NEAR, Polytope

ASKED_FIRST = 4  # sites brought in at once at least; each time as many as are in already
AT_ONCE = 600  # atoms of a part that is solved at once
NOTHING = 1e-9  # a price of nothing


class Sites:
    """A part of a release, taken apart by site. Shapes  site: (atoms,), a number for each atom of the part."""

    def __init__(self, part: Polytope, site: np.ndarray):
        self.part = part
        names, self.label = np.unique(site, return_inverse=True)
        self._order = np.argsort(self.label, kind="stable")
        self._first = np.searchsorted(self.label[self._order], np.arange(names.size))
        self.atoms = np.split(self._order, self._first[1:])
        of_entry, row = self.label[part.rows.indices], part.rows.indptr[:-1]
        self._is_shared = np.minimum.reduceat(of_entry, row) != np.maximum.reduceat(of_entry, row)
        self._alone: dict[int, Polytope] = {}

    def descent(self, goal: np.ndarray) -> Iterator[tuple[Polytope, np.ndarray | None]]:
        """Possible tables with less and less of `goal @ x`, the last one with the least; None when there is no least.

        Shapes   goal: (atoms,); out: the piece of the part that gives way, and the table of its atoms.
        The same input gives the same tables.
        """
        chance = np.random.default_rng(goal.size)
        inside = chance.permutation(np.unique(self.label[np.flatnonzero(goal)]))[:ASKED_FIRST]
        if goal.size <= AT_ONCE:
            inside = np.arange(len(self.atoms))
        while True:
            free = np.sort(np.concatenate([self.atoms[one] for one in inside]))
            piece, line = self.part.cut(free)
            found = piece.priced(goal[free])
            if found is None:
                yield piece, None
                return
            table, piece_price = found
            yield piece, table
            price = np.zeros(self.part.rows.shape[0])
            price[line] = np.where(self._is_shared[line], piece_price, 0.0)
            cost = goal - self.part.rows.T @ price
            others = chance.permutation(np.setdiff1d(self._who_pays(cost), inside))
            more = self._who_lowers(cost, others, max(inside.size, ASKED_FIRST))
            if not more.size:
                return
            inside = np.concatenate([inside, more])

    def _who_pays(self, cost: np.ndarray) -> np.ndarray:
        """The sites of which some atom costs or gains anything."""
        return np.flatnonzero(np.maximum.reduceat(np.abs(cost)[self._order], self._first) > NOTHING)

    def _who_lowers(self, cost: np.ndarray, others: np.ndarray, most: int) -> np.ndarray:
        """The first sites, `most` at most, that could lower their cost; none where all together could by nothing."""
        found: list[int] = []
        for one in others:
            if len(found) == most:
                break
            alone = self._own_rows(one)
            own = cost[self.atoms[one]]
            least = alone.least(own)
            if least is None or own @ (alone.truth - least) > NEAR / len(self.atoms):
                found.append(int(one))
        return np.array(found, dtype=int)

    def _own_rows(self, one: int) -> Polytope:
        """One site under the rows that it shares with no other."""
        if one not in self._alone:
            whole, line = self.part.cut(self.atoms[one])
            own = np.flatnonzero(~self._is_shared[line])
            self._alone[one] = replace(whole, rows=whole.rows[own], low=whole.low[own], high=whole.high[own])
        return self._alone[one]
