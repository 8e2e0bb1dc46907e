"""What a reader gains by using that people are whole: the least and greatest value in tables of whole numbers.

The proof takes counts for real numbers. Whole tables are some of the real ones, so an interval over whole numbers lies
within the one over real numbers and can be narrower. In two-way tables the two agree;
in more directions they need not. Integer programmes grow hard quickly, so this is for small tables and for
tests/benchmarks/, which say by how much the proof overstates.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.audit.alternatives import Reach
from pipeline.audit.audit import people_asked
from pipeline.audit.shown_counts import KEY
from pipeline.programme import Disclosure


def whole_intervals(
    truth: dict[str, pl.DataFrame],
    published: dict[str, pl.DataFrame],
    rules: Disclosure,
    *,
    most: int | None = None,
) -> pl.DataFrame:
    """Of each sensitive count of people that no file shows, its interval over real and over whole numbers.

    Shapes   as audit_tables; out: KEY, n, width, low, high (real), whole_low, whole_high; the first `most` counts.
    Errors   ValueError as audit_tables.
    """
    polytope, asked = people_asked(truth, published, rules)
    n = asked["n"].to_numpy().astype(float)
    real, whole = (Reach(n.copy(), n.copy(), asked["width"].to_numpy()) for _ in range(2))
    open_parts = polytope.without_settled()
    looked_at = ~np.isin(polytope.number, open_parts.number)  # what the rows settle is what it is
    for part in open_parts.parts():
        for at, number in enumerate(part.number):
            if most is None or looked_at.sum() < most:
                real.low[number], real.high[number] = part.interval(at)
                whole.low[number], whole.high[number] = part.interval(at, is_whole=True)
                looked_at[number] = True
    return asked.select(
        *KEY, "n", "width", low=pl.Series(real.low), high=pl.Series(real.high),
        whole_low=pl.Series(whole.low), whole_high=pl.Series(whole.high),
    ).filter(pl.Series(looked_at))  # fmt: skip
