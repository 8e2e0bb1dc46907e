"""The whole of it: sensitive cells → every cell to withhold.

    1  what single sums give away (complementary.py): fast, and right for nearly every count;
    2  what all sums together give away, with a proof for every count (proof.py), period by period;
    3  single sums once more, for what the second step added to.

The third step withholds more, which leaves every proof of the second as it is.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.complementary import with_complements
from pipeline.disclosure.presence import Presence
from pipeline.disclosure.losses import Losses, with_company
from pipeline.disclosure.need import needed_width
from pipeline.disclosure.proof import with_room
from pipeline.disclosure.reader import pieces_of


def suppressed(
    cells: Cells,
    equations: pl.DataFrame,
    sensitive: np.ndarray,
    minimum_count: int,
    presence: Presence | None = None,
) -> np.ndarray:
    """Every cell to withhold.

    Shapes   equations: as equations_of gives them; sensitive, out: (cells,) of bool; sensitive is within out.
    Every sensitive cell in need of room (need.py) has it then, whatever a reader adds up.
    """
    presence = Presence.of(cells) if presence is None else presence
    losses = Losses.of(cells, equations, presence.hidden)
    need = needed_width(cells, sensitive, minimum_count)
    withheld = with_complements(cells, equations, sensitive, minimum_count, losses)
    for piece in pieces_of(cells, equations, losses, need, presence):
        unknown = np.isin(piece.classes, losses.twins[withheld | losses.hidden])
        more = piece.classes[with_room(piece, unknown) & ~unknown]
        withheld = with_company(withheld | np.isin(losses.twins, more), losses)
    return with_complements(cells, equations, withheld, minimum_count, losses)
