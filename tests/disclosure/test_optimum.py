"""The exact optimum is never dearer than the heuristic, and protects as much."""

from __future__ import annotations

import numpy as np
import pytest
from invented_tables import prevalence_of

from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.inference import unknown_cells
from pipeline.disclosure.optimum import optimal_suppression
from pipeline.disclosure.primary import sensitive_cells
from pipeline.disclosure.suppression import suppressed


def equations(cells) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    found = equations_of(cells)
    return tuple(found[name].to_numpy() for name in ("equation", "cell", "is_total"))


@pytest.mark.parametrize("seed", range(6))
def test_the_optimum_costs_no_more_than_the_heuristic_and_every_sensitive_cell_is_wide(seed):
    people = np.random.default_rng(seed).poisson(np.random.default_rng(seed + 50).gamma(1, 20, (3, 2, 1, 4)))
    cells = cells_of({"prevalence": prevalence_of(people).filter(sex="female")})
    count = cells.frame["count"].to_numpy()
    sensitive = sensitive_cells(cells, 10) & (count > 0)
    best = optimal_suppression(count, sensitive, *equations(cells), width=5)
    heuristic, _ = suppressed(cells, equations_of(cells), sensitive_cells(cells, 10), 10)
    assert sensitive.any() and best[sensitive].all()
    assert count[best].sum() <= count[heuristic].sum()
    for part in unknown_cells(count, ~best, *equations(cells)).parts():
        for position in np.flatnonzero(sensitive[part.cell]):
            low, high = part.interval(int(position))
            assert high - low >= 5 - 1e-6


def test_nothing_sensitive_needs_nothing_withheld():
    none = np.zeros(3, dtype=bool)
    found = optimal_suppression(
        np.array([30, 10, 20]), none, np.zeros(3, int), np.arange(3), np.array([True, False, False]), width=5
    )
    assert not found.any()


def test_a_width_that_no_withholding_gives_is_an_error():
    sensitive = np.array([False, True, False])
    with pytest.raises(ValueError, match="no best suppression found"):
        optimal_suppression(
            np.array([30, 4, 26]),
            sensitive,
            np.zeros(3, int),
            np.arange(3),
            np.array([True, False, False]),
            width=5,
            may_withhold=np.zeros(3, dtype=bool),
        )
