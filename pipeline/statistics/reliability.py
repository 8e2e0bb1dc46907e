"""Whether a prevalence is precise enough to be shown, by the data presentation standards for proportions of NCHS."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Text = NDArray[np.str_]

LEAST_PEOPLE = 30
WIDEST = 0.30  # absolute width from which a proportion is not shown
NARROW = 0.05  # absolute width up to which the relative width is not asked for
WIDEST_RELATIVE = 1.30  # width over proportion
LEAST_FREEDOM = 8


def nchs_reliability(
    count: ArrayLike,
    people: ArrayLike,
    effective_people: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    freedom: ArrayLike,
) -> tuple[Text, Text]:
    """Each cell's status and reason. Status: present, footnote, review or suppress.

    In order: fewer than 30 people or effective people → suppress; width 0.30 or more → suppress; width over 0.05 and
    over 130 % of the proportion → suppress; fewer than 8 degrees of freedom → review; nobody or everybody in the
    band → review; width over 0.05 and over 130 % of the complement → footnote (shown, the complement is not).

    Shapes   all (cells,); low and high a Clopper–Pearson or Korn–Graubard interval; out: two (cells,) of text.
    Units    people; low and high from 0 to 1. freedom inf for people counted one by one.
    Missing  a cell without an interval (nan) is suppressed: fewer than two sites, or nobody measured.
    Source   Parker et al. (2017) Vital Health Stat 2(175); cut-offs and their order as read in the agency's published
             code. Checked in tests/published/test_nchs_reliability.py.
    """
    count, people, effective, low, high, freedom = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (count, people, effective_people, low, high, freedom))
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        width, share = high - low, count / people
        is_wide = width > NARROW
        rules = [
            ((people < LEAST_PEOPLE) | ~(effective >= LEAST_PEOPLE), "suppress", "fewer than 30 people"),
            (~(width < WIDEST), "suppress", "interval 0.30 wide or more"),
            (
                is_wide & (width > WIDEST_RELATIVE * share),
                "suppress",
                "interval over 130 % of the proportion",
            ),
            (freedom < LEAST_FREEDOM, "review", "fewer than 8 degrees of freedom"),
            ((count == 0) | (count == people), "review", "nobody or everybody in the band"),
            (
                is_wide & (width > WIDEST_RELATIVE * (1 - share)),
                "footnote",
                "interval over 130 % of the complement",
            ),
        ]
    broken = [rule for rule, _, _ in rules]
    status = np.select(broken, [s for _, s, _ in rules], "present")
    return status, np.select(broken, [reason for _, _, reason in rules], "")


def flag(status: Text) -> Text:
    """The published flag: `unreliable` where the standard would not show the figure, otherwise nothing."""
    return np.where(status == "suppress", "unreliable", "")
