"""Which cells are withheld for what they are themselves, before what could give them back.

A cell is sensitive when it, or the rest of its group, is a small number of people:

    people  1 to m - 1 people in the group, m being minimum_count.
    band    every band of such a group, zeros and all;
            1 to m - 1 people in the band;
            fewer than m people outside it while somebody is in it. Nobody outside is the extreme case: the band
            then tells where everybody of the group is, however large the group.
    between 1 to m - 1 people between two published edges.
    rows    1 to m - 1 rows or readings, also those set aside in all, which only the readings that count tell. Files
            are counted openly: a file is nobody. Rows are not people: they must not follow from one sum, and no
            more is asked, so that the accounts of a site stay readable.

Zeros are decided on purpose. An empty band in a group of at least m people is published as 0: it tells of everybody
only where they are not, it is the expected figure of a rare band, and withholding it would cost more cells than any
other rule. It is withheld in a group under m, where it would help to place each of a few people, and may be withheld
to protect another cell.

What is not hidden here is that there are people. A group that nobody is in has no rows, so a row, withheld or not,
says that there is at least one, and none says that there is nobody: of a single site that tells 0 from 1 or more
by sex and age. Likewise a check has a row only where it spoke. This step keeps the rows it is given and takes the
reader to know all of that; widening.py and the audit count on at least one person in every group. The remedy is the
writer's: to leave out a site's rows of a group of which no count is published. Absence then means nobody, or
withheld. The presence of all-site rows, and of checks, tells of no single site's group and of no person, and stays.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import FILES, Cells


def sensitive_cells(cells: Cells, minimum_count: int) -> np.ndarray:
    """Whether each cell is withheld for what it is itself.

    Shapes   out: (cells,) of bool.
    Units    counts of people, or of rows.
    Errors   ValueError naming the first cell without a count, or a band with more people than its group.
    """
    frame = cells.frame
    if frame["count"].null_count():
        raise ValueError(
            f"no count in {frame.filter(pl.col('count').is_null()).row(0, named=True)}; "
            "disclosure control needs the unsuppressed results"
        )
    count, parent = frame["count"].to_numpy(), frame["parent"].to_numpy()
    small = (count >= 1) & (count < minimum_count)
    is_band = (frame["kind"] == "band").to_numpy()
    group = count[parent]
    if (is_band & (count > group)).any():
        raise ValueError(
            f"more people in the band than in the group: "
            f"{frame.row(int(np.flatnonzero(is_band & (count > group))[0]), named=True)}"
        )
    in_small_group = is_band & (group < minimum_count)
    few_outside = is_band & (count > 0) & (group - count < minimum_count)
    is_open = frame["family"].is_in(FILES).to_numpy()
    return (small & ~is_open) | in_small_group | few_outside
