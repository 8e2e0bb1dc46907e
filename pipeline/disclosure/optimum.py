"""The cells whose withholding costs least, exactly, for tables small enough: what the heuristic is measured against.

One mixed integer programme: a yes or no for each cell, and for each sensitive cell two tables that fit everything
published and put it far enough apart, in which only withheld cells may differ from the truth.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_array, csr_array, eye_array

OPTIMAL = 0


def optimal_suppression(
    count: np.ndarray,
    sensitive: np.ndarray,
    equation: np.ndarray,
    cell: np.ndarray,
    is_total: np.ndarray,
    *,
    width: float,
    reach: tuple[float, float] | None = None,
    cost: np.ndarray | None = None,
    may_withhold: np.ndarray | None = None,
    seconds: float = 60,
) -> np.ndarray:
    """The cheapest set of cells under which every sensitive one is `width` wide.

    Shapes   count, sensitive, cost, may_withhold, out: (cells,); equation, cell, is_total: (entries,), total = sum of
             the others. Sensitive cells are always withheld. cost is the count itself unless given.
    Units    people; `reach` asks besides that both of its values be within every sensitive cell's interval.
    Errors   ValueError when no set of cells will do, or none was proven best in the time.
    Source   the model of Fischetti & Salazar, Manage Sci 2001;47:1008-27, in its plain form (from memory): its size is
             cells times sensitive cells, so it is for tables of some hundred cells.
    """
    size, targets = count.size, np.flatnonzero(sensitive)
    if not targets.size:
        return np.zeros(size, dtype=bool)
    free = sensitive | (np.ones(size, dtype=bool) if may_withhold is None else may_withhold)
    tables = 2 * targets.size  # of each target: one where it is low, one where it is high
    row = np.unique(equation, return_inverse=True)[1]
    sums = csr_array((np.where(is_total, -1.0, 1.0), (row, cell)), shape=(int(row.max()) + 1, size))
    most = float(count.sum() + width)
    # variables: a yes or no for each cell, then each table's differences from the truth
    yes, differ = _stacked(eye_array(size), tables), eye_array(size * tables)
    balance = LinearConstraint(_after(size, _repeated(sums, tables)), 0, 0)
    above = LinearConstraint(block_array([[-most * yes, differ]]), -np.inf, 0)
    own = csr_array(np.diag(count.astype(float)))
    below = LinearConstraint(block_array([[_stacked(own, tables), differ]]), 0, np.inf)
    apart, least = _apart(size, targets, count, width, reach)
    found = milp(
        np.concatenate([(count if cost is None else cost).astype(float), np.zeros(size * tables)]),
        constraints=[balance, above, below, LinearConstraint(apart, least, np.inf)],
        integrality=np.concatenate([np.ones(size), np.zeros(size * tables)]),
        bounds=Bounds(
            np.concatenate([sensitive.astype(float), np.full(size * tables, -np.inf)]),
            np.concatenate([free.astype(float), np.full(size * tables, np.inf)]),
        ),
        options={"time_limit": seconds, "mip_rel_gap": 0},
    )
    if found.status != OPTIMAL:
        raise ValueError(
            f"no best suppression found: {found.message}; a smaller table, less width or more time may do"
        )
    return found.x[:size] > 0.5


def _apart(
    size: int, targets: np.ndarray, count: np.ndarray, width: float, reach: tuple[float, float] | None
) -> tuple[csr_array, np.ndarray]:
    """high - low of each target >= width; with reach also low <= reach[0] and high >= reach[1]. Rows, least."""
    rows: list[dict[int, float]] = []
    least: list[float] = []
    for i, target in enumerate(targets):
        low, high = size * (1 + 2 * i) + target, size * (2 + 2 * i) + target
        rows.append({high: 1.0, low: -1.0})
        least.append(width)
        if reach is not None:
            rows += [{low: -1.0}, {high: 1.0}]
            least += [count[target] - reach[0], reach[1] - count[target]]
    entries = [(row, column, value) for row, entry in enumerate(rows) for column, value in entry.items()]
    row, column, value = zip(*entries, strict=True) if entries else ((), (), ())
    return csr_array((value, (row, column)), shape=(len(rows), size * (1 + 2 * targets.size))), np.array(
        least
    )


def _repeated(matrix: csr_array, times: int) -> csr_array:
    return block_array(
        [[matrix if i == j else None for j in range(times)] for i in range(times)], format="csr"
    )


def _stacked(matrix: csr_array, times: int) -> csr_array:
    return block_array([[matrix]] * times, format="csr")


def _after(size: int, matrix: csr_array) -> csr_array:
    return block_array([[csr_array((matrix.shape[0], size)), matrix]], format="csr")
