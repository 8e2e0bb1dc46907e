"""The cells whose withholding costs least, exactly, for tables small enough: what the heuristic is measured against.

One mixed integer programme: a yes or no for each cell, and for each sensitive cell two tables that fit everything
published and put it far enough apart, in which only withheld cells may differ from the truth.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_array, csr_array, eye_array, kron

OPTIMAL = 0
NODES = 3000  # of the search; a limit in nodes and not in seconds gives the same answer on every machine


def optimal_suppression(
    count: np.ndarray,
    sensitive: np.ndarray,
    equation: np.ndarray,
    cell: np.ndarray,
    is_total: np.ndarray,
    *,
    width: np.ndarray | float,
    reach: tuple[float, float] | None = None,
    cost: np.ndarray | None = None,
    may_withhold: np.ndarray | None = None,
    lowest: np.ndarray | float = 0,
    part_of: np.ndarray | None = None,
    goes_with: np.ndarray | None = None,
    nodes: int = NODES,
) -> np.ndarray:
    """The cheapest set of cells under which every sensitive one is `width` wide.

    Shapes   count, sensitive, cost, may_withhold, lowest, part_of, goes_with, out: (cells,), width too or one for all;
             equation, cell, is_total: (entries,), total = sum of the others. Sensitive cells are always withheld. cost
             is the count itself unless given. part_of: the cell than which a cell is no greater; goes_with: the cell
             with which it is withheld; itself if none.
    Units    people; `reach` asks besides that both of its values be within every sensitive cell's interval.
    Errors   ValueError when no set of cells will do, or none was proven best within `nodes`.
    Source   the model of Fischetti & Salazar, Manage Sci 2001;47:1008-27, in its plain form (from memory): its size is
             cells times sensitive cells, so it is for tables of some ten cells.
    """
    size, targets = count.size, np.flatnonzero(sensitive)
    if not targets.size:
        return np.zeros(size, dtype=bool)
    free = sensitive | (np.ones(size, dtype=bool) if may_withhold is None else may_withhold)
    width = np.broadcast_to(width, count.shape)[targets].astype(float)
    truth, tables = (
        count.astype(float),
        2 * targets.size,
    )  # of each target: one where it is low, one where it is high
    row = np.unique(equation, return_inverse=True)[1]
    sums = csr_array((np.where(is_total, -1.0, 1.0), (row, cell)), shape=(int(row.max()) + 1, size))
    most = float(count.sum() + width.max())
    # variables: a yes or no for each cell, then each table's differences from the truth
    yes, differ = kron(np.ones((tables, 1)), eye_array(size), format="csr"), eye_array(size * tables)
    room = np.tile(truth - np.broadcast_to(lowest, count.shape), tables)
    apart, least = _apart(size, targets, truth, width, reach)
    constraints = [
        LinearConstraint(_after(size, kron(eye_array(tables), sums, format="csr")), 0, 0),
        LinearConstraint(block_array([[-most * yes, differ]]), -np.inf, 0),
        LinearConstraint(block_array([[yes.multiply(room[:, None]), differ]]), 0, np.inf),
        LinearConstraint(apart, least, np.inf),
    ]
    for first, second, slack in _pairs(part_of, truth):
        order = kron(eye_array(tables), _difference(first, second, size), format="csr")
        constraints.append(LinearConstraint(_after(size, order), -np.inf, np.tile(slack, tables)))
    for first, second, _ in _pairs(goes_with, truth):
        together = _difference(second, first, size)
        constraints.append(
            LinearConstraint(block_array([[together, csr_array((first.size, size * tables))]]), -np.inf, 0)
        )
    found = milp(
        np.concatenate([(truth if cost is None else cost).astype(float), np.zeros(size * tables)]),
        constraints=constraints,
        integrality=np.concatenate([np.ones(size), np.zeros(size * tables)]),
        bounds=Bounds(
            np.concatenate([sensitive.astype(float), np.full(size * tables, -np.inf)]),
            np.concatenate([free.astype(float), np.full(size * tables, np.inf)]),
        ),
        # unscaled and unreduced, a solution needs no repair: of each that does HiGHS prints a line nobody asked for
        options={"node_limit": nodes, "mip_rel_gap": 0, "presolve": False},
    )
    if found.status != OPTIMAL:
        raise ValueError(
            f"no best suppression found: {found.message}; a smaller table, less width or more nodes may do"
        )
    return found.x[:size] > 0.5


def _apart(
    size: int, targets: np.ndarray, truth: np.ndarray, width: np.ndarray, reach: tuple[float, float] | None
) -> tuple[csr_array, np.ndarray]:
    """high - low of each target >= width; with reach also low <= reach[0] and high >= reach[1]. Rows, least."""
    rows: list[dict[int, float]] = []
    least: list[float] = []
    for i, target in enumerate(targets):
        low, high = size * (1 + 2 * i) + target, size * (2 + 2 * i) + target
        rows.append({high: 1.0, low: -1.0})
        least.append(width[i])
        if reach is not None:
            rows += [{low: -1.0}, {high: 1.0}]
            least += [truth[target] - reach[0], reach[1] - truth[target]]
    entries = [(row, column, value) for row, entry in enumerate(rows) for column, value in entry.items()]
    row, column, value = zip(*entries, strict=True)
    shape = (len(rows), size * (1 + 2 * targets.size))
    return csr_array((value, (row, column)), shape=shape), np.array(least)


def _pairs(
    other: np.ndarray | None, truth: np.ndarray
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(cells that have another, the other, how much greater it is), once, or not at all."""
    if other is not None and (first := np.flatnonzero(other != np.arange(other.size))).size:
        yield first, other[first], truth[other[first]] - truth[first]


def _difference(first: np.ndarray, second: np.ndarray, size: int) -> csr_array:
    """(pairs, cells): first - second."""
    entries = np.concatenate([np.ones(first.size), -np.ones(first.size)])
    at = (np.tile(np.arange(first.size), 2), np.concatenate([first, second]))
    return csr_array((entries, at), shape=(first.size, size))


def _after(size: int, matrix: csr_array) -> csr_array:
    return block_array([[csr_array((matrix.shape[0], size)), matrix]], format="csr")
