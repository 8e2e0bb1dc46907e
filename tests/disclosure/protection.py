"""What a reader of published tables can work out, cell by cell: two linear programmes for each sensitive count.

Unlike the suppressor it starts from the files, solves for every cell by itself, and takes no short cut: no classes of
twins, no tables that show many counts at once.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import KEY, cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.inference import unknown_cells
from pipeline.disclosure.primary import sensitive_cells


def unprotected(
    truth: dict[str, pl.DataFrame], published: dict[str, pl.DataFrame], minimum: int
) -> list[tuple]:
    """(KEY, count, low, high) of every sensitive count that can be placed too closely.

    A count of people needs an interval as wide as its group is large, up to half of the minimum; of rows one that is
    not a point. A published row of a group says that somebody is there.
    """
    cells = cells_of(truth)
    frame, equations = cells.frame, equations_of(cells)
    seen = cells_of(published).frame.select(*KEY, shown="count", is_there=pl.lit(True))
    frame = frame.join(seen, on=KEY, how="left", maintain_order="left")
    known = frame["shown"].is_not_null().to_numpy()
    count, is_people = frame["count"].to_numpy(), (frame["kind"] == "people").to_numpy()
    assert (frame["shown"].drop_nulls() == frame.filter(pl.col("shown").is_not_null())["count"]).all()
    sensitive = sensitive_cells(cells, minimum) & (count > 0)
    part_of = np.where(is_people, frame["parent"].to_numpy(), np.arange(frame.height))
    unknown = unknown_cells(
        count,
        known,
        *(equations[name].to_numpy() for name in ("equation", "cell", "is_total")),
        lowest=(is_people & frame["is_there"].fill_null(False).to_numpy()).astype(float),
        part_of=part_of,
    )
    whole = np.where(frame["kind"] == "band", count[frame["parent"].to_numpy()], count)
    need = np.where(frame["kind"] == "rows", 1e-3, np.minimum(whole, minimum / 2))
    found = [(*frame.row(i)[:9], count[i], count[i]) for i in np.flatnonzero(sensitive & known)]
    for part in unknown.parts():
        for position in np.flatnonzero(sensitive[part.cell]):
            low, high = part.interval(int(position))
            if high - low < need[part.cell[position]] - 1e-6:
                found.append((*frame.row(int(part.cell[position]))[:10], low, high))
    return found
