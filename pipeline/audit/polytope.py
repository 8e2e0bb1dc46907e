"""What a reader knows as a set of possible tables: non-negative atoms under rows low <= row @ x <= high.

The least and the greatest value of any sum of atoms over that set are two linear programmes. Atoms between which no row
stands, direct or through others, are independent and are solved apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csc_array, csr_array, hstack, vstack
from scipy.sparse.csgraph import connected_components

UNBOUNDED = 3  # a status of SciPy's solvers
NEAR = 1e-6  # a solver's idea of zero


@dataclass(frozen=True)
class Polytope:
    """Possible tables, and sums of atoms that are asked about.

    Shapes   atom: (atoms,) their numbers in the release; rows: (rows, atoms), low and high: (rows,), infinite where a
             side is open; truth: (atoms,), one table inside; asked: (sums, atoms); number: (sums,) of whoever asks.
    Units    people, or rows received.
    """

    atom: np.ndarray
    rows: csr_array
    low: np.ndarray
    high: np.ndarray
    truth: np.ndarray
    asked: csr_array
    number: np.ndarray
    settled: np.ndarray  # (sums,): what atoms that are no longer here add to each sum

    @cached_property
    def by_atom(self) -> csc_array:
        """The rows by atom, so that a piece is cut out in time of its own size."""
        return csc_array(self.rows)

    @cached_property
    def _asked_by_atom(self) -> csc_array:
        return csc_array(self.asked)

    @cached_property
    def _at_truth(self) -> tuple[np.ndarray, np.ndarray]:
        return self.rows @ self.truth, self.asked @ self.truth

    def without_settled(self) -> Polytope:
        """The same without the atoms that a single row settles, again and again until no row does."""
        free = np.ones(self.atom.size, dtype=bool)
        is_exact = self.low == self.high
        entry_row = np.repeat(np.arange(self.rows.shape[0]), np.diff(self.rows.indptr))
        is_plus = np.bincount(entry_row, self.rows.data < 0, self.rows.shape[0]) == 0
        while True:
            open_entries = free[self.rows.indices]
            left = np.bincount(entry_row, open_entries, self.rows.shape[0])
            rest = self.low - self.rows @ np.where(free, 0, self.truth)
            settles = is_exact & ((left == 1) | (is_plus & (left > 0) & (np.abs(rest) < NEAR)))
            gone = self.rows.indices[settles[entry_row] & open_entries]
            if not gone.size:
                return self.freed(np.flatnonzero(free))
            free[gone] = False

    def freed(self, free: np.ndarray) -> Polytope:
        """The same with all but the free atoms at their true value; sums that keep no atom are left out.

        Shapes   free: positions of atoms, ascending.
        """
        return self.cut(free)[0]

    def cut(self, free: np.ndarray) -> tuple[Polytope, np.ndarray]:
        """As freed, and which of the rows are left."""
        (rows, line), (asked, kept) = _touched(self.by_atom[:, free]), _touched(self._asked_by_atom[:, free])
        truth, (of_rows, of_asked) = self.truth[free], self._at_truth
        moved = of_rows[line] - rows @ truth
        piece = Polytope(
            self.atom[free],
            rows,
            self.low[line] - moved,
            self.high[line] - moved,
            truth,
            asked,
            self.number[kept],
            self.settled[kept] + of_asked[kept] - asked @ truth,
        )
        return piece, line

    def parts(self) -> Iterator[Polytope]:
        """The independent parts in which something is asked, in order of their first atom."""
        links = vstack([self.rows, self.asked]).astype(bool).astype(np.int8)
        size = links.shape[0]
        graph = coo_array(
            (links.tocoo().data, (links.tocoo().row, links.tocoo().col + size)),
            shape=(size + self.atom.size,) * 2,
        )
        number, label = connected_components(graph, directed=False)
        pieces = [_grouped(part, number) for part in np.split(label, [self.rows.shape[0], size])]
        for rows, asked, atoms in zip(*pieces, strict=True):
            if asked.size and atoms.size:
                yield Polytope(
                    self.atom[atoms],
                    self.rows[rows][:, atoms],
                    self.low[rows],
                    self.high[rows],
                    self.truth[atoms],
                    self.asked[asked][:, atoms],
                    self.number[asked],
                    self.settled[asked],
                )

    def least(self, objective: np.ndarray, *, is_whole: bool = False) -> np.ndarray | None:
        """The possible table with the least `objective @ x`; None when there is no least. is_whole: of whole numbers.

        Errors   ValueError when nothing fits what is published: then the rows do not hold.
        """
        found = self.priced(objective, is_whole=is_whole)
        return None if found is None else found[0]

    def priced(self, objective: np.ndarray, *, is_whole: bool = False) -> tuple[np.ndarray, np.ndarray] | None:
        """As least, and by how much the least rises with each row's ends, (rows,): its dual values."""
        return _solved(objective, self.rows, self.low, self.high, np.zeros(self.atom.size), np.inf, is_whole)

    def interval(self, asked: int, *, is_whole: bool = False) -> tuple[float, float]:
        """The least and the greatest possible value of one sum; the greatest may be infinite."""
        goal = self.asked[[asked]].toarray()[0]
        least, greatest = self.least(goal, is_whole=is_whole), self.least(-goal, is_whole=is_whole)
        start = self.settled[asked]
        return (
            start if least is None else float(start + goal @ least),
            np.inf if greatest is None else float(start + goal @ greatest),
        )

    def pushed(self, wanted: np.ndarray, is_up: np.ndarray, width: np.ndarray, far: float) -> np.ndarray:
        """One possible table in which the wanted sums rise, or fall, most in total, none by more than its width.

        Shapes   wanted: positions in asked; is_up, width: likewise; out: (atoms,). A sum weighs the more the less it
        needs, so that many come all the way. No atom rises by more than `far`.
        """
        goals, size = self.asked[wanted], self.atom.size
        sign = np.where(is_up, 1.0, -1.0)
        signed = csr_array(goals.multiply(sign[:, None]))
        extra = csr_array((-np.ones(wanted.size), (np.arange(wanted.size),) * 2), shape=(wanted.size,) * 2)
        rows = vstack(
            [
                hstack([self.rows, csr_array((self.rows.shape[0], wanted.size))]),
                hstack([signed, extra]),  # sign * (sum - true sum) >= gain
            ],
            format="csr",
        )
        found = _solved(
            np.concatenate([np.zeros(size), -1 / width]),
            rows,
            np.concatenate([self.low, signed @ self.truth]),
            np.concatenate([self.high, np.full(wanted.size, np.inf)]),
            np.zeros(size + wanted.size),
            np.concatenate([self.truth + far, width]),
            False,
        )
        return found[0][:size]


def _solved(
    objective: np.ndarray,
    rows: csr_array,
    low: np.ndarray,
    high: np.ndarray,
    lowest: np.ndarray,
    highest: np.ndarray | float,
    is_whole: bool,
) -> tuple[np.ndarray, np.ndarray] | None:
    price = np.zeros(rows.shape[0])
    if is_whole:
        found = milp(
            objective,
            constraints=LinearConstraint(rows, low, high) if rows.shape[0] else None,
            bounds=Bounds(lowest, highest),
            integrality=1,
            options={"presolve": False},  # or HiGHS prints a line of its own when a solution needs repair
        )
    else:
        exact, over, under = low == high, (low < high) & np.isfinite(high), (low < high) & np.isfinite(low)
        bounded = vstack([rows[np.flatnonzero(over)], -rows[np.flatnonzero(under)]], format="csr")
        found = linprog(
            objective,
            A_ub=bounded if bounded.shape[0] else None,
            b_ub=np.concatenate([high[over], -low[under]]) if bounded.shape[0] else None,
            A_eq=rows[np.flatnonzero(exact)] if exact.any() else None,
            b_eq=low[exact] if exact.any() else None,
            bounds=np.column_stack([lowest, np.broadcast_to(highest, lowest.shape)]),
            method="highs",
        )
    if found.status == UNBOUNDED:
        return None
    if found.x is None:
        raise ValueError(
            f"no table fits what is published (solver status {found.status}: {found.message}); "
            "the results do not add up"
        )
    if not is_whole:
        price[exact] = found.eqlin.marginals
        above, below = np.split(found.ineqlin.marginals, [int(over.sum())])
        price[over] += above
        price[under] -= below
    return found.x, price


def _touched(columns: csc_array) -> tuple[csr_array, np.ndarray]:
    """The rows that have an entry, and their numbers."""
    line, row = np.unique(columns.indices, return_inverse=True)
    shape = (line.size, columns.shape[1])
    return csc_array((columns.data, row, columns.indptr), shape=shape).tocsr(), line


def _grouped(label: np.ndarray, number: int) -> list[np.ndarray]:
    order = np.argsort(label, kind="stable")
    return np.split(order, np.searchsorted(label[order], np.arange(1, number)))
