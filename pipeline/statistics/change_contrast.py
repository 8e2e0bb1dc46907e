"""People's changes between analysers, less what the same kind of people changed at the other sites meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

ELSEWHERE = -1  # in place of the earlier analyser of people who come from another site
DAYS_A_QUARTER = 91  # 13 weeks
_FEWEST_ELSEWHERE = 5  # changes of a class at the other sites, from which to expect anything
_LEAST_VARIANCE = 0.01  # of one change: a tenth of a unit is what is printed
_NO_WEIGHT = 1e-9  # people per squared unit
CLASSES = 180  # of people whose changes are alike: numbered by sql/53_person_change.sql
_ORDER = ("site", "device", "month", "earlier_site", "earlier_device", "earlier_month", "class")
_CHUNK = ("n", "change", "change_squared")


@dataclass(frozen=True)
class Contrasts:
    """Mean changes of a site's people from one analyser and month to another, beyond what was expected.

    Shapes   every array is (contrasts,), in a fixed order.
    Units    device, earlier_device: places in ChangeContrasts.devices, ELSEWHERE for people from another site.
             month, earlier_month: 12 × year + month − 1. stage: of sql/53_person_change.sql. n: people. change and its
             variance in the measure's unit. end: mean day of the later readings, in quarters of 91 days since 1970;
             quarters: mean time between the two.
    """

    device: Wholes
    earlier_device: Wholes
    month: Wholes
    earlier_month: Wholes
    stage: Wholes
    n: Wholes
    change: Floats
    variance: Floats
    end: Floats
    quarters: Floats

    def followed_by(self, other: Contrasts) -> Contrasts:
        """These, then the other's."""
        return Contrasts(*(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self)))

    def at(self, rows: NDArray) -> Contrasts:
        return Contrasts(*(getattr(self, f.name)[rows] for f in fields(self)))


class ChangeContrasts:
    """The cells of one measure, and running sums by class of people and site as periods are taken in order.

    Expected of a change is the mean of its class at the other sites so far, and what people of all classes changed
    there beyond that between the same two months (the season), children and adults apart.
    """

    def __init__(
        self,
        sites: Iterable[str],
        devices: Iterable[str],
        periods: Iterable[str],
        cells_of: Callable[[str], pl.DataFrame],
    ):
        """The names that occur, and how to get a period's cells of sql/54_change_cell.sql, of one measure."""
        self.sites, self.devices, self.periods = sorted(set(sites)), sorted(set(devices)), sorted(set(periods))
        self.cells_of = cells_of
        self.sums = np.zeros((CLASSES, len(self.sites), 3))

    @classmethod
    def of(cls, cells: pl.DataFrame) -> ChangeContrasts:
        """From the cells of all periods, of one measure, in any order."""
        return cls(
            cells["site"],
            [*cells["device"], *cells["earlier_device"]],
            cells["period"],
            lambda period: cells.filter(pl.col("period") == period),
        )

    def next(self, period: str) -> dict[str, Contrasts]:
        """Take in a period's cells; site → its contrasts that end in the period.

        Missing  a site without a change to compare is absent; a class that fewer than five people elsewhere are in
                 tells nothing yet; a change on one analyser within a month neither.
        """
        cells = self.cells_of(period).sort(_ORDER)
        site = _numbers(cells["site"], self.sites)
        kind = cells["class"].to_numpy().astype(np.int64)
        figures = cells.select(_CHUNK).to_numpy().astype(float)
        np.add.at(self.sums, (kind, site), figures)
        every = self.sums.sum(axis=1)[kind]
        others = every - self.sums[kind, site]
        usable = (others[:, 0] >= _FEWEST_ELSEWHERE) & (every[:, 0] >= 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            variance = (every[:, 2] - every[:, 1] ** 2 / every[:, 0]) / (every[:, 0] - 1)
            weight = np.where(usable, figures[:, 0] / np.maximum(variance, _LEAST_VARIANCE), 0)
            expected = np.where(usable, others[:, 1] / others[:, 0], 0)
        mean = figures[:, 1] / figures[:, 0]
        months = cells.select("earlier_month", "month").to_numpy()
        departure = mean - expected - self._season(site, months, kind, cells["is_grown"].to_numpy(), weight, mean)
        is_here = (cells["earlier_site"] == cells["site"]).to_numpy()
        is_same = (cells["earlier_device"] == cells["device"]).to_numpy() & (months[:, 0] == months[:, 1])
        kept = usable & ~(is_here & is_same)
        return self._summed(cells.filter(pl.Series(kept)), weight[kept], departure[kept])

    def _season(self, site, months, kind, is_grown, weight, mean) -> Floats:
        """What people at the other sites changed beyond their classes' means there, between the same two months.

        Shapes   months (cells, 2), the others (cells,); weight 0 for a cell that tells nothing; out (cells,), 0 where
                 nobody else tells.
        """
        elsewhere = self.sums.sum(axis=1, keepdims=True) - self.sums
        with np.errstate(divide="ignore", invalid="ignore"):
            expected = np.where(
                elsewhere[..., 0] >= _FEWEST_ELSEWHERE, elsewhere[..., 1] / elsewhere[..., 0], np.nan
            )
        between, pair = _distinct(*months.T)
        known = np.isfinite(expected)
        season = np.zeros(len(mean))
        for of_age in (True, False):
            rows = np.flatnonzero(is_grown == of_age)
            kinds, which = np.unique(kind[rows], return_inverse=True)
            sums = np.zeros((2, len(between), len(kinds), len(self.sites)))
            np.add.at(sums, (0, pair[rows], which, site[rows]), weight[rows])
            np.add.at(sums, (1, pair[rows], which, site[rows]), weight[rows] * mean[rows])
            weights, changes = np.where(known[kinds], sums.sum(axis=3, keepdims=True) - sums, 0)
            of = weights.sum(axis=1)
            over = (changes - weights * np.nan_to_num(expected[kinds])).sum(axis=1)
            value = np.divide(over, of, out=np.zeros_like(over), where=of > _NO_WEIGHT)
            season[rows] = value[pair[rows], site[rows]]
        return season

    def _summed(self, cells: pl.DataFrame, weight: Floats, mean: Floats) -> dict[str, Contrasts]:
        """Cells of one pair of analysers and months and one stage, put together by their weights."""
        is_here = (cells["earlier_site"] == cells["site"]).to_numpy()
        month, earlier_month, stage, n = (
            cells[name].to_numpy().astype(np.int64) for name in ("month", "earlier_month", "stage", "n")
        )
        keys, where = _distinct(
            _numbers(cells["site"], self.sites),
            _numbers(cells["device"], self.devices),
            np.where(is_here, _numbers(cells["earlier_device"], self.devices), ELSEWHERE),
            month,
            earlier_month,
            stage,
        )
        weights = np.bincount(where, weight, len(keys))

        def averaged(value: Floats) -> Floats:
            return np.bincount(where, weight * value, len(keys)) / weights

        begins = month_begins(month) + cells["days"].to_numpy() / np.maximum(n, 1) / DAYS_A_QUARTER
        every = Contrasts(
            *keys[:, 1:].T,
            np.bincount(where, n, len(keys)).astype(np.int64),
            averaged(mean),
            1 / weights,
            averaged(begins),
            averaged(cells["weeks"].to_numpy() * 7 / DAYS_A_QUARTER / np.maximum(n, 1)),
        )
        return {self.sites[s]: every.at(np.flatnonzero(keys[:, 0] == s)) for s in np.unique(keys[:, 0])}


def month_begins(month: Wholes) -> Floats:
    """The first day of months (12 × year + month − 1), in quarters of 91 days since 1970."""
    since_1970 = (np.asarray(month) - 12 * 1970).astype("datetime64[M]")
    return since_1970.astype("datetime64[D]").astype(float) / DAYS_A_QUARTER


def _distinct(*columns: Wholes) -> tuple[Wholes, Wholes]:
    """The rows that occur, in order, and for each row its place among them.

    By one whole number a row: sorting rows takes ten times as long.
    Shapes   each (rows,) → (distinct, columns), (rows,).
    """
    key = np.zeros(columns[0].size, dtype=np.int64)
    for column in columns:
        lowest = column.min(initial=0)
        key = key * (column.max(initial=0) - lowest + 1) + (column - lowest)
    _, first, where = np.unique(key, return_index=True, return_inverse=True)
    return np.column_stack(columns)[first], where


def _numbers(column: pl.Series, words: list[str]) -> Wholes:
    return column.cast(pl.Enum(words)).to_physical().cast(pl.Int64).to_numpy()
