"""The protection rule: how wide a reader's interval of each sensitive count must stay.

    people, band, between   as wide as the group has people, or half of minimum_count where that is less
    rows                    one row: they must not follow, and no more is asked

That a withheld count is small is what a reader guesses anyway, since that is why counts are withheld. How many people
it is must not follow, not even nearly: an interval half of minimum_count wide keeps them in doubt whether it is one
person or several, and of a group smaller than that no table could say less than "up to twice as many".
"""

from __future__ import annotations

import numpy as np

from pipeline.disclosure.cells import GROUP, Cells


def needed_width(cells: Cells, sensitive: np.ndarray, minimum_count: int) -> np.ndarray:
    """The width to keep of every cell, 0 for what needs none.

    Shapes   sensitive: (cells,) of bool; out: (cells,).   Units  people, or rows.
    A sensitive cell with nobody in it needs none: it went with a small group, and that it is empty is not a person.
    """
    frame = cells.frame
    groups = frame.filter(kind="people").select("family", *GROUP, people="count")
    group = frame.join(groups, on=["family", *GROUP], how="left", maintain_order="left")["people"]
    count, is_rows = frame["count"].to_numpy(), (frame["kind"] == "rows").to_numpy()
    people = group.fill_null(frame["count"]).to_numpy() if group.null_count() else group.to_numpy()
    width = np.where(is_rows, 1.0, np.minimum(people, minimum_count / 2))
    return np.where(sensitive & (count > 0), width, 0.0)
