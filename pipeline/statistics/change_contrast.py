"""People's changes between analysers, less what the same kind of people changed at the other sites meanwhile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_FEWEST_ELSEWHERE = 5  # changes of a class at the other sites, from which to expect anything
_LEAST_VARIANCE = 0.01  # of one change: a tenth of a unit is what is printed
_NO_WEIGHT = 1e-9  # people per squared unit
_WEEKS_A_QUARTER = 13
_CHUNK = ("n", "change", "change_squared")


@dataclass(frozen=True)
class Contrast:
    """The mean change of people from one analyser and period to another, beyond what was expected.

    earlier_device and earlier_period are None and "" where the change began at another site. variance is that of
    change; quarters is the mean time between, in 13 weeks.
    """

    device: str
    earlier_device: str | None
    earlier_period: str
    n: int
    change: float
    variance: float
    quarters: float


class ChangeContrasts:
    """The cells of one measure, and running sums by class of people and site as periods are taken in order.

    Expected of a change is the mean of its class at the other sites so far, and what people of all classes changed
    there beyond that between the same two periods (the season), children and adults apart.
    """

    def __init__(self, cells: pl.DataFrame):
        self.cells = cells
        self.sites = cells["site"].unique().sort().to_list()
        self.devices = sorted({*cells["device"], *cells["earlier_device"]})
        self.periods = sorted({*cells["period"], *cells["earlier_period"]})
        self.sums = np.zeros((int(cells["class"].max() or 0) + 1, len(self.sites), 3))

    @classmethod
    def of(cls, cells: pl.DataFrame) -> ChangeContrasts:
        """From the cells of sql/54_change_cell.sql, of one measure, in any order."""
        return cls(
            cells.sort(
                "site", "device", "period", "earlier_site", "earlier_device", "earlier_period", "class"
            )
        )

    def next(self, period: str, level: float, wander: float) -> dict[str, list[Contrast]]:
        """Take in a period's cells; site → its contrasts that end in the period, in a fixed order.

        Units    level and wander: standard deviations of an analyser and of a site's period, added to what comes
                 from another site.
        Missing  a site without a change to compare is absent; a class that fewer than five people elsewhere are in
                 tells nothing yet; a change on one analyser within the period neither.
        """
        cells = self.cells.filter(pl.col("period") == period)
        site = _numbers(cells["site"], self.sites)
        earlier = _numbers(cells["earlier_period"], self.periods)
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
        season = self._season(site, earlier, kind, cells["is_grown"].to_numpy(), weight, mean)
        departure = mean - expected - season
        is_here = (cells["earlier_site"] == cells["site"]).to_numpy()
        is_same = (
            (cells["earlier_device"] == cells["device"]) & (cells["earlier_period"] == period)
        ).to_numpy()
        kept = usable & ~(is_here & is_same)
        return self._summed(
            cells.filter(pl.Series(kept)), weight[kept], departure[kept], level**2 + 2 * wander**2
        )

    def _season(self, site, earlier, kind, is_grown, weight, mean) -> Floats:
        """What people at the other sites changed beyond their classes' means there, between the same two periods.

        Shapes   all (cells,); weight 0 for a cell that tells nothing; out (cells,), 0 where nobody else tells.
        """
        elsewhere = self.sums.sum(axis=1, keepdims=True) - self.sums
        with np.errstate(divide="ignore", invalid="ignore"):
            expected = np.where(
                elsewhere[..., 0] >= _FEWEST_ELSEWHERE, elsewhere[..., 1] / elsewhere[..., 0], np.nan
            )
        sums = np.zeros((2, len(self.periods), *expected.shape))
        np.add.at(sums, (0, earlier, kind, site), weight)
        np.add.at(sums, (1, earlier, kind, site), weight * mean)
        weights, changes = sums.sum(axis=3, keepdims=True) - sums
        known = np.isfinite(expected)
        departure = np.where(known, changes - weights * np.nan_to_num(expected), 0)
        grown = np.zeros(len(expected), dtype=bool)
        grown[kind[is_grown]] = True
        season = np.zeros(len(mean))
        for of_age in (True, False):
            rows = grown == of_age
            over, of = departure[:, rows].sum(axis=1), np.where(known, weights, 0)[:, rows].sum(axis=1)
            value = np.divide(over, of, out=np.zeros_like(over), where=of > _NO_WEIGHT)
            season = np.where(is_grown == of_age, value[earlier, site], season)
        return season

    def _summed(
        self, cells: pl.DataFrame, weight: Floats, mean: Floats, abroad: float
    ) -> dict[str, list[Contrast]]:
        """Cells of one pair of analysers and periods, put together by their weights."""
        is_here = (cells["earlier_site"] == cells["site"]).to_numpy()
        parts = [
            _numbers(cells["site"], self.sites),
            _numbers(cells["device"], self.devices),
            np.where(is_here, _numbers(cells["earlier_device"], self.devices), -1),
            np.where(is_here, _numbers(cells["earlier_period"], self.periods), -1),
        ]
        keys, where = np.unique(np.column_stack(parts), axis=0, return_inverse=True)
        where = where.ravel()
        n = cells["n"].to_numpy()

        def total(value: Floats) -> Floats:
            return np.bincount(where, weights=value, minlength=len(keys))

        weights = total(weight)
        people, change = total(n.astype(float)), total(weight * mean) / np.where(weights > 0, weights, 1)
        weeks = total(weight * cells["weeks"].to_numpy() / np.maximum(n, 1)) / np.where(
            weights > 0, weights, 1
        )
        found: dict[str, list[Contrast]] = {}
        for i, (site, device, other, period) in enumerate(keys):
            found.setdefault(self.sites[site], []).append(
                Contrast(
                    self.devices[device],
                    None if other < 0 else self.devices[other],
                    "" if other < 0 else self.periods[period],
                    int(people[i]),
                    float(change[i]),
                    float(1 / weights[i] + (abroad if other < 0 else 0)),
                    float(weeks[i] / _WEEKS_A_QUARTER),
                )
            )
        return found


def _numbers(column: pl.Series, words: list[str]) -> NDArray[np.int64]:
    places = {word: i for i, word in enumerate(words)}
    return column.replace_strict(places, return_dtype=pl.Int64).to_numpy()
