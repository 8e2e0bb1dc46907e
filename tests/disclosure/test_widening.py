"""Several published sums together corner a count that no one of them gives away; then more is withheld."""

from __future__ import annotations

import numpy as np
import polars as pl
from invented_tables import prevalence_of

from pipeline.disclosure.cells import Cells, cells_of
from pipeline.disclosure.complementary import with_complements
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.inference import unknown_cells
from pipeline.disclosure.losses import Losses
from pipeline.disclosure.primary import sensitive_cells
from pipeline.disclosure.widening import Widening

MINIMUM = 10


def cornered(cells: Cells, equations: pl.DataFrame, sensitive: np.ndarray, withheld: np.ndarray) -> int:
    """Sensitive cells with people in them whose interval, by linear programmes, is narrower than it must be."""
    frame = cells.frame
    count = frame["count"].to_numpy()
    group = np.where(frame["kind"] == "band", count[frame["parent"].to_numpy()], count)
    unknown = unknown_cells(
        count,
        ~withheld,
        *(equations[name].to_numpy() for name in ("equation", "cell", "is_total")),
        lowest=(frame["kind"] == "people").to_numpy().astype(float),
    )
    found = 0
    for part in unknown.parts():
        for position in np.flatnonzero(sensitive[part.cell] & (part.truth > 0)):
            low, high = part.interval(int(position))
            found += high - low < min(group[part.cell[position]], MINIMUM / 2) - 1e-6
    return found


def widening(cells: Cells, equations: pl.DataFrame, sensitive: np.ndarray) -> Widening:
    return Widening.of(cells, equations, sensitive, MINIMUM, Losses.of(cells, equations))


def test_counts_that_single_sums_protect_and_several_corner_are_given_room():
    chance = np.random.default_rng(4)
    cells = cells_of({"prevalence": prevalence_of(chance.poisson(chance.gamma(1, 12, (3, 2, 2, 4))))})
    equations = equations_of(cells)
    sensitive = sensitive_cells(cells, MINIMUM)
    by_single_sums = with_complements(cells, equations, sensitive, MINIMUM, Losses.of(cells, equations))
    wide = widening(cells, equations, sensitive).of_what_is(by_single_sums)
    assert cornered(cells, equations, sensitive, by_single_sums) > 0
    assert cornered(cells, equations, sensitive, wide) == 0
    assert (wide | ~by_single_sums).all()


def test_a_release_with_room_is_left_as_it_is():
    cells = cells_of({"prevalence": prevalence_of(np.full((3, 2, 2, 4), 30))})
    equations = equations_of(cells)
    none = np.zeros(cells.frame.height, dtype=bool)
    assert not widening(cells, equations, none).of_what_is(none).any()
