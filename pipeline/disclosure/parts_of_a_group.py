"""Parts of a group whose counts are told as whole multiples m of minimum_count: which of them are withheld.

A count is sensitive when it or the rest of its group is 1 to m − 1 people, or when it is everybody: the group is then
given away by it. What is withheld beside it depends on what stands beside the parts: their sum, or an all-site figure.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl


def sensitive(count: np.ndarray, of: np.ndarray, m: int) -> np.ndarray:
    """Whether a count is withheld for what it is: 1 to m − 1, or somebody in it and fewer than m outside.

    Shapes   count, of, out: (cells,).   Units  people. A group under m is sensitive throughout.
    """
    return ((count >= 1) & (count < m)) | ((count > 0) & (of - count < m)) | (of < m)


def withheld_in_line(count: np.ndarray, of: int, gone: np.ndarray, m: int) -> np.ndarray:
    """Parts of one group, shown as multiples of m beside their sum: which to withhold, or all of them.

    A part of 1 to m − 1 must be able to be anything in there. Each true count lies between its multiple and m − 1
    above, zeros are shown, and of withheld parts nobody knows which are small. With D the shown sum less the shown
    parts, a part that is withheld alone lies between D − (m − 1)·(shown parts that are not 0) and D + m − 1; with w − 1
    others it can be as low as 1, and as high as D + (m − 1) − (w − 1).

    Shapes   count, gone, out: (parts,); of: their sum.   Units  people.
    """
    gone = gone.copy()
    while gone.any():
        shown = ~gone & (count > 0)
        left = of // m * m - (count[shown] // m * m).sum()
        others = gone.sum() - 1
        low = left - (m - 1) * shown.sum() if others == 0 else 1
        high = left + (m - 1) - others
        if low <= 1 and high >= m - 1:
            return gone
        if not shown.any():
            return np.ones(count.size, dtype=bool)
        gone[np.flatnonzero(shown)[np.argmin(count[shown])]] = True
    return gone


def withheld_among_sites(count: np.ndarray, of: np.ndarray, gone: np.ndarray, m: int) -> np.ndarray:
    """Parts of an all-site figure: what is withheld is two or more parts, with m people in it and m outside.

    Shapes   count, of, gone, out: (sites,).   Units  people.
    """
    gone = gone.copy()
    while gone.any() and not gone.all():
        inside, outside = count[gone].sum(), (of - count)[gone].sum()
        # nobody inside, or nobody outside, over all the withheld would be told by subtraction as well
        if gone.sum() >= 2 and inside >= m and outside >= m:
            break
        left = np.flatnonzero(~gone)
        gone[left[np.argmin(of[left])]] = True
    return gone


def line_by_line(rows: pl.DataFrame, key: list[str], rule: Callable[[pl.DataFrame], np.ndarray]) -> np.ndarray:
    """`rule` for each line of rows that have the same key: whether each row is withheld."""
    gone = np.zeros(rows.height, dtype=bool)
    for _, part in rows.with_row_index("row").group_by(key, maintain_order=True):
        gone[part["row"].to_numpy()] = rule(part)
    return gone


def counts_of(part: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """n and denominator of rows. Shapes: (rows,).   Units: people."""
    return part["n"].to_numpy().astype(int), part["denominator"].to_numpy().astype(int)
