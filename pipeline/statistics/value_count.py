"""Quantiles of many groups at once from sorted value counts, without expanding them to one row a person.

The cells of all groups stand in one array, sorted by group and value, beside one running total of people. The k-th
smallest value of a group is then a binary search for the rank `people before the group + k`, so a million cells
and ten thousand groups cost a sort and a few searches. Values are whole print steps and ranks are whole numbers:
no rounding happens before the last division.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.binomial_quantile import binomial_quantile

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]

_SIZES_AT_A_TIME = 64


@dataclass(frozen=True)
class ValueCounts:
    """Sorted value counts of one or more groups.

    group   (groups,)  the number of each group, ascending
    value   (cells,)   whole print steps, ascending within a group
    total   (cells,)   running total of people over all cells, groups one after the other
    before  (groups,)  people in the groups before
    people  (groups,)  people in the group, 1 or more
    """

    group: Integers
    value: Integers
    total: Integers
    before: Integers
    people: Integers

    @classmethod
    def of(cls, group: ArrayLike, value: ArrayLike, n: ArrayLike) -> ValueCounts:
        """Value counts from cells sorted by group and value.

        Shapes   group, value, n: (cells,); group numbers need not be consecutive.
        Units    value in whole print steps; n in people.
        Missing  no cells give no groups.
        Errors   ValueError when a count is under 1 or the cells are not sorted.
        """
        group, value, n = (np.asarray(a, dtype=np.int64) for a in (group, value, n))
        if np.any(n < 1):
            i = int(np.argmax(n < 1))
            raise ValueError(f"cell {i}: a count of {n[i]}; a value that nobody has is no cell")
        steps = np.diff(group)
        if np.any((steps < 0) | ((steps == 0) & (np.diff(value) < 0))):
            raise ValueError("cells are not sorted by group and value: sort them before counting ranks")
        total = np.cumsum(n)
        last = np.flatnonzero(np.append(steps != 0, True)) if group.size else np.empty(0, dtype=np.int64)
        ends = total[last]
        people = np.diff(ends, prepend=0)
        return cls(group[last], value, total, ends - people, people)

    def order_statistic(self, rank: ArrayLike) -> Integers:
        """The value of a rank, 1 being the smallest. Shapes: rank (groups, any) from 1 to people → (groups, any)."""
        rank = _checked_rank(rank, self.people)
        return self.value[np.searchsorted(self.total, self.before[:, None] + rank, side="left")]

    def at_or_below(self, value: ArrayLike) -> Integers:
        """People of each group at or below values in whole print steps. Shapes: value (groups, any) → (groups, any)."""
        value = np.asarray(value, dtype=np.int64)
        ends = np.searchsorted(self.total, self.before + self.people) + 1
        cells = np.repeat(np.arange(self.people.size), np.diff(ends, prepend=0))
        low, width = self.value.min(initial=0), np.ptp(np.append(self.value, 0)) + 2
        key = cells * width + (self.value - low)
        asked = np.arange(self.people.size)[:, None] * width + np.clip(value - low, -1, width - 2)
        held = np.searchsorted(key, asked, side="right")
        return np.concatenate([[0], self.total])[held] - self.before[:, None]


@dataclass(frozen=True)
class SortedValues:
    """The same of people one by one: of one or more groups, each with its own stretch of places for values.

    place   (values,)  of each person's value, ascending; a value's place is zero + value
    people  (groups,)  people in the group, 1 or more; their places come group after group
    before  (groups,)  people in the groups before
    zero    (groups,)  the place that the value 0 has in the group, or would have
    lowest, highest (groups,)  whole print steps that the group's stretch has room for
    """

    place: Integers
    people: Integers
    before: Integers
    zero: Integers
    lowest: Integers
    highest: Integers

    def order_statistic(self, rank: ArrayLike) -> Integers:
        """As ValueCounts.order_statistic."""
        rank = _checked_rank(rank, self.people)
        return self.place[self.before[:, None] + rank - 1] - self.zero[:, None]

    def at_or_below(self, value: ArrayLike) -> Integers:
        """As ValueCounts.at_or_below."""
        inside = np.clip(np.asarray(value, dtype=np.int64), self.lowest[:, None] - 1, self.highest[:, None])
        asked = (self.zero[:, None] + inside).astype(self.place.dtype)
        return np.searchsorted(self.place, asked, side="right") - self.before[:, None]


def _checked_rank(rank: ArrayLike, people: Integers) -> Integers:
    rank = np.asarray(rank, dtype=np.int64)
    if np.any((rank < 1) | (rank > people[:, None])):
        raise ValueError("a rank outside 1 to the people of its group")
    return rank


def quantile_type_7(counts: ValueCounts | SortedValues, percent: ArrayLike, steps_per_unit: ArrayLike = 1) -> Floats:
    """Quantiles by linear interpolation between neighbouring order statistics, Hyndman–Fan type 7.

    With h = (n − 1)·percent/100, the quantile is x(⌊h⌋+1) + (h − ⌊h⌋)·(x(⌊h⌋+2) − x(⌊h⌋+1)), ranks from 1.
    The sum is made in whole numbers and divided once, so it is the double nearest to the exact value.

    Shapes   percent: (percents,); steps_per_unit: one number or (groups,); out: (groups, percents).
    Units    percent in whole percent from 0 to 100; out in the measure's unit.
    Missing  a group has at least one person by construction; one person is every quantile of the group.
    Errors   ValueError for a percent that is not a whole number from 0 to 100.
    Source   Hyndman & Fan (1996) Am Stat 50:361-365, definition 7.
             Checked in tests/published/test_quantiles.py.
    """
    percent = _checked_percent(percent)
    whole, hundredths = np.divmod((counts.people[:, None] - 1) * percent, 100)
    lower = counts.order_statistic(whole + 1)
    upper = counts.order_statistic(np.minimum(whole + 2, counts.people[:, None]))
    steps = np.broadcast_to(np.asarray(steps_per_unit, dtype=np.int64), counts.people.shape)[:, None]
    return ((100 - hundredths) * lower + hundredths * upper) / (100 * steps)


def quantile_interval(
    counts: ValueCounts | SortedValues,
    percent: ArrayLike,
    steps_per_unit: ArrayLike = 1,
    confidence: float = 0.95,
    effective: ArrayLike | None = None,
    least_beyond: ArrayLike = 1,
) -> tuple[Floats, Floats]:
    """Distribution-free interval for a quantile: two order statistics of the group.

    Shapes   percent: (percents,); steps_per_unit: one number or (groups,); low, high: (groups, percents).
             effective: as order_statistic_ranks; least_beyond: one number or (groups, 1).
    Units    as quantile_type_7.
    Missing  a limit that does not exist at this confidence is nan, never the group's extreme: that is
             no limit, and it is one person's value. So is a limit with fewer than least_beyond people from it outward.
    Errors   ValueError for a percent that is not a whole number from 0 to 100.
    Source   Hahn & Meeker (1991) Statistical Intervals ch. 5; Conover, Practical Nonparametric Statistics.
             Checked in tests/published/test_quantile_interval.py.
    """
    lower, upper = order_statistic_ranks(counts.people, percent, confidence, effective)
    steps = np.broadcast_to(np.asarray(steps_per_unit, dtype=np.int64), counts.people.shape)[:, None]
    people = counts.people[:, None]
    low = counts.order_statistic(np.maximum(lower, 1)) / steps
    high = counts.order_statistic(np.minimum(upper, people)) / steps
    least = np.maximum(least_beyond, 1)
    return np.where(lower >= least, low, np.nan), np.where(upper <= people + 1 - least, high, np.nan)


def order_statistic_ranks(
    people: ArrayLike, percent: ArrayLike, confidence: float = 0.95, effective: ArrayLike | None = None
) -> tuple[Integers, Integers]:
    """Ranks l, u of the order statistics that bound a quantile: l = B⁻¹(α/2), u = B⁻¹(1 − α/2) + 1.

    B is the binomial distribution of how many of the people lie below the quantile; the interval
    x(l) to x(u) covers it with probability B(u − 1) − B(l − 1), at least the confidence asked for. Of people who come
    in clusters, B is that of the effective sample size m, in whole people, and its ranks stand for the ranks
    l(n + 1)/(m + 1), downward, and u(n + 1)/(m + 1), upward, of the n people.

    Shapes   people: (groups,); percent: (percents,); effective: (groups, percents); l, u: (groups, percents).
    Missing  l = 0: no lower limit; u = people + 1: no upper limit.
    Errors   ValueError for a percent that is not a whole number from 0 to 100.
    Source   as quantile_interval; clusters: Woodruff (1952) J Am Stat Assoc 47:635-646.
    """
    percent = _checked_percent(percent)
    people, tail = np.asarray(people, dtype=np.int64), (1 - confidence) / 2
    if effective is None:
        sizes, where = np.unique(people, return_inverse=True)  # groups share sizes
        lower, upper = _ranks_of_sizes(sizes, tuple(percent.tolist()), tail)
        return lower[where], upper[where]
    n = people[:, None]
    m = np.clip(np.floor(np.asarray(effective, dtype=float)), 1, n).astype(np.int64)
    lower, upper = binomial_quantile(tail, m, percent / 100), binomial_quantile(1 - tail, m, percent / 100) + 1
    return lower * (n + 1) // (m + 1), -(-upper * (n + 1) // (m + 1))


def _ranks_of_sizes(sizes: Integers, percent: tuple[int, ...], tail: float) -> tuple[Integers, Integers]:
    """Ranks l, u of groups that are not clustered. Shapes: sizes (sizes,), each once → (sizes, percents)."""
    if not sizes.size:
        return np.empty((0, len(percent)), dtype=np.int64), np.empty((0, len(percent)), dtype=np.int64)
    runs, first = np.unique(sizes // _SIZES_AT_A_TIME, return_index=True)
    found = [
        _ranks_of_run(int(run), percent, tail)[:, of % _SIZES_AT_A_TIME]
        for run, of in zip(runs, np.split(sizes, first[1:]), strict=True)
    ]
    lower, upper = np.concatenate(found, axis=1)
    return lower, upper


@lru_cache(maxsize=4096)
def _ranks_of_run(run: int, percent: tuple[int, ...], tail: float) -> Integers:
    """Of sizes that follow each other: some sites' groups after the other's, and periods', ask for the same ones again.

    Shapes   out: (2, _SIZES_AT_A_TIME, percents), l and u.
    """
    n = np.arange(_SIZES_AT_A_TIME)[:, None] + run * _SIZES_AT_A_TIME
    p = np.array(percent) / 100
    return np.stack([binomial_quantile(tail, n, p), binomial_quantile(1 - tail, n, p) + 1])


def _checked_percent(percent: ArrayLike) -> Integers:
    given = np.atleast_1d(np.asarray(percent))
    whole = given.astype(np.int64)
    if np.any(whole != given) or np.any((whole < 0) | (whole > 100)):
        raise ValueError(f"percent {given.tolist()}: whole numbers from 0 to 100 are expected")
    return whole
