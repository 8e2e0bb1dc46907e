"""What a reader of a release can work out of a withheld count: its least and greatest possible value.

A release leaves some cells unknown. What a reader has is every equation with the known cells filled in, and that
counts are not negative. The least and the greatest value of a cell under all of these are two linear programmes;
cells without an equation between them, direct or through others, are independent and are solved apart.

Counts are taken as real numbers. A reader who uses that they are whole can do no worse, so where the sums are not
of two-way tables, an interval here may be wider than what whole numbers allow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array, vstack
from scipy.sparse.csgraph import connected_components

UNBOUNDED = 3  # linprog's status of a programme without an end


@dataclass(frozen=True)
class Unknown:
    """The unknown cells of a release, or of an independent part of it, and what is known of them.

    Shapes   cell: (unknown,) numbers of cells; sums @ x = known, (equations, unknown) and (equations,);
             order @ x <= bound, likewise, for cells that are part of another; lowest, highest: (unknown,);
             truth: (unknown,), which satisfies all of them.
    Units    people, or rows.
    """

    cell: np.ndarray
    sums: csr_array
    known: np.ndarray
    order: csr_array
    bound: np.ndarray
    lowest: np.ndarray
    highest: np.ndarray
    truth: np.ndarray

    def parts(self) -> Iterator[Unknown]:
        """The independent parts, in order of their first cell."""
        links = vstack([self.sums, self.order]).astype(bool).astype(np.int8)
        number, label = connected_components(links.T @ links, directed=False)
        sum_part = _part_of_rows(self.sums, label)
        order_part = _part_of_rows(self.order, label)
        cells, sums, orders = (_grouped(part, number) for part in (label, sum_part, order_part))
        for cell, equation, line in zip(cells, sums, orders, strict=True):
            yield Unknown(
                self.cell[cell],
                self.sums[equation][:, cell],
                self.known[equation],
                self.order[line][:, cell],
                self.bound[line],
                self.lowest[cell],
                self.highest[cell],
                self.truth[cell],
            )

    def freed(self, free: np.ndarray) -> tuple[Unknown, np.ndarray]:
        """The same with all but the free cells at their true value, and the positions of those that are free."""
        position, fixed = np.flatnonzero(free), np.flatnonzero(~free)
        sums, order = self.sums[:, position], self.order[:, position]
        equation, line = np.flatnonzero(np.diff(sums.indptr)), np.flatnonzero(np.diff(order.indptr))
        return Unknown(
            self.cell[position],
            sums[equation],
            sums[equation] @ self.truth[position],
            order[line],
            (self.bound - self.order[:, fixed] @ self.truth[fixed])[line],
            self.lowest[position],
            self.highest[position],
            self.truth[position],
        ), position

    def solution(self, objective: np.ndarray, highest: np.ndarray | None = None) -> np.ndarray | None:
        """One of the possible tables, with the least `objective @ x`; None when there is no least.

        Errors   ValueError when nothing satisfies what is known: then the equations do not hold.
        """
        found = linprog(
            objective,
            A_eq=self.sums if self.sums.shape[0] else None,
            b_eq=self.known if self.sums.shape[0] else None,
            A_ub=self.order if self.order.shape[0] else None,
            b_ub=self.bound if self.order.shape[0] else None,
            bounds=np.column_stack([self.lowest, self.highest if highest is None else highest]),
            method="highs",
        )
        if found.status == UNBOUNDED:
            return None
        if found.x is None:
            raise ValueError(
                f"no table fits what is published (solver status {found.status}: {found.message}); "
                "an equation does not hold in the counts"
            )
        return found.x

    def interval(self, position: int) -> tuple[float, float]:
        """The least and greatest possible value of one cell; the greatest may be infinite."""
        objective = np.zeros(self.cell.size)
        objective[position] = 1
        least, greatest = self.solution(objective), self.solution(-objective)
        return (
            self.lowest[position] if least is None else float(least[position]),
            np.inf if greatest is None else float(greatest[position]),
        )


def unknown_cells(
    count: np.ndarray,
    is_known: np.ndarray,
    equation: np.ndarray,
    cell: np.ndarray,
    is_total: np.ndarray,
    *,
    part_of: np.ndarray | None = None,
    lowest: np.ndarray | float = 0,
    highest: np.ndarray | float = np.inf,
) -> Unknown:
    """What a reader has, from the true counts and which of them are known.

    Shapes   count, is_known, part_of, lowest, highest: (cells,); equation, cell, is_total: (entries,), an entry a cell
             of an equation, total = sum of the others. part_of: the cell that a cell is a part of, itself if none.
    """
    position = np.cumsum(~is_known) - 1
    unknown = np.flatnonzero(~is_known)
    here = ~is_known[cell]
    rows = np.unique(equation[here], return_inverse=True)[1]
    sums = csr_array(
        (np.where(is_total[here], -1.0, 1.0), (rows, position[cell[here]])),
        shape=(int(rows.max()) + 1 if rows.size else 0, unknown.size),
    )
    truth = count[unknown].astype(float)
    order, bound = _order(
        count, is_known, unknown, position, unknown if part_of is None else part_of[unknown]
    )
    return Unknown(
        unknown,
        sums,
        sums @ truth,
        order,
        bound,
        np.broadcast_to(lowest, count.shape)[unknown].astype(float),
        np.broadcast_to(highest, count.shape)[unknown].astype(float),
        truth,
    )


def _order(
    count: np.ndarray, is_known: np.ndarray, unknown: np.ndarray, position: np.ndarray, whole: np.ndarray
) -> tuple[csr_array, np.ndarray]:
    """part <= whole, for every unknown cell that is part of another."""
    parts = np.flatnonzero(whole != unknown)
    whole = whole[parts]
    open_whole = np.flatnonzero(~is_known[whole])
    entries = np.concatenate([np.ones(parts.size), -np.ones(open_whole.size)])
    rows = np.concatenate([np.arange(parts.size), open_whole])
    columns = np.concatenate([parts, position[whole[open_whole]]])
    bound = np.where(is_known[whole], count[whole], 0).astype(float)
    return csr_array((entries, (rows, columns)), shape=(parts.size, unknown.size)), bound


def _part_of_rows(rows: csr_array, label: np.ndarray) -> np.ndarray:
    """The part that each row belongs to: that of its first cell."""
    return label[rows.indices[rows.indptr[:-1]]] if rows.shape[0] else np.zeros(0, dtype=label.dtype)


def _grouped(label: np.ndarray, number: int) -> list[np.ndarray]:
    order = np.argsort(label, kind="stable")
    return np.split(order, np.searchsorted(label[order], np.arange(1, number)))
