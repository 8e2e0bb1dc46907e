"""The whole of it: sensitive cells → every cell to withhold, the two repairs taking turns until neither adds one."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.complementary import with_complements
from pipeline.disclosure.widening import with_wide_bounds


def suppressed(
    cells: Cells, equations: pl.DataFrame, sensitive: np.ndarray, minimum_count: int
) -> np.ndarray:
    """Every cell to withhold.

    Shapes   equations: as equations_of gives them; sensitive, out: (cells,) of bool; sensitive is within out.
    It ends: each turn withholds more, and a release of which everything is withheld tells nothing.
    """
    withheld = sensitive
    while True:
        mended = with_complements(cells, equations, withheld, minimum_count)
        withheld = with_wide_bounds(cells, equations, sensitive, mended, minimum_count)
        if np.array_equal(withheld, mended):
            return withheld
