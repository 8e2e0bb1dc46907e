"""How far a person's change may lie from what is usual: further, and it is drawn in to there.

One forgotten coat must not make an analyser look wrong. What is usual of a class of people is its median and its median
absolute deviation, from the changes up to the end of the period that is judged: what comes later does not change what
was said of an earlier period.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Wholes = NDArray[np.int64]

_DEVIATIONS = 3 * 1.4826  # three standard deviations of a normal distribution, as median absolute deviations
_LEAST_REACH = 300  # thousandths
_FEW = 20  # changes of a class, below which its own spread is not believed


def change_bounds(kind: Wholes, change: Wholes, n: Wholes, classes: int) -> tuple[Wholes, Wholes]:
    """The least and the largest change of each class that stay as they are.

    The bounds lie three standard deviations (1.4826 × the median absolute deviation) on either side of the class's
    median, at least 0.3. Of fewer than twenty changes a deviation says little, and is often 0 by chance: such a class
    reaches at least as far as all changes together about their own median.

    Shapes   kind, change, n: (rows,), a class and change may have several rows; low, high: (classes,).
    Units    thousandths of the measure's unit; n: people who changed so.
    Missing  a class without a change has 0 and 0.
    Source   Hampel (1974) J Am Stat Assoc 69:383-93 for the median absolute deviation; 1.4826 makes it the standard
             deviation of a normal distribution. The floor and the twenty are the project's choice.
    """
    low, high = np.zeros(classes, dtype=np.int64), np.zeros(classes, dtype=np.int64)
    if not len(kind):
        return low, high
    middle, people = _medians(kind, 2 * change, n, classes)  # twice the change: a median may lie half-way
    deviation, _ = _medians(kind, 2 * np.abs(2 * change - middle[kind]), n, classes)
    one = np.zeros(len(kind), dtype=np.int64)
    of_all = 2 * np.abs(2 * change - _medians(one, 2 * change, n, 1)[0])
    everybody = _medians(one, of_all, n, 1)[0][0]
    deviation = np.where(people < _FEW, np.maximum(deviation, everybody), deviation)
    reach = np.maximum(_DEVIATIONS * deviation / 4, _LEAST_REACH)
    found = people > 0
    low[found], high[found] = (np.rint(middle / 2 + way * reach)[found].astype(np.int64) for way in (-1, 1))
    return low, high


def _medians(kind: Wholes, value: Wholes, n: Wholes, classes: int) -> tuple[Wholes, Wholes]:
    """Of each class the median, between the two middle ones where their number is even, and the number of people.

    Shapes   kind, value, n: (rows,), values even, so that the median is whole; both out (classes,).
    Missing  a class without rows has 0 and 0.
    """
    order = np.lexsort((value, kind))
    up_to = np.cumsum(n[order])
    people = np.zeros(classes, dtype=np.int64)
    np.add.at(people, kind, n)
    before = np.cumsum(people) - people
    last = len(order) - 1
    lower = np.searchsorted(up_to, before + (people + 1) // 2, side="left")
    upper = np.searchsorted(up_to, before + people // 2, side="right")
    ends = (value[order[np.minimum(place, last)]] for place in (lower, upper))
    return np.where(people > 0, sum(ends) // 2, 0), people
