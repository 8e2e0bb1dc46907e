"""People's changes between analysers, less what the same kind of people changed at the other sites meanwhile."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.statistics.one_thread import on_one_thread

Floats = NDArray[np.float64]
Wholes = NDArray[np.int64]

ELSEWHERE = -1  # in place of the earlier analyser of people who come from another site
DAYS_A_QUARTER = 91  # 13 weeks
_FEWEST_ELSEWHERE = 5  # changes of a class at the other sites, from which to expect anything
_LEAST_VARIANCE = 0.01  # of one change: a tenth of a unit is what is printed
CLASSES = 180  # of people whose changes are alike: numbered by sql/53_person_change.sql
_ORDER = ("place", "month", "earlier_place", "earlier_month", "class")
_SUMS = ("n", "change", "change_squared")
_UNITS = np.array([1.0, 1e3, 1e6])  # in which _SUMS are whole numbers


@dataclass(frozen=True)
class Places:
    """The analysers of all sites by number.

    Shapes   site, device: (places,), each a place in sites and devices, which are in order. device '' where files do
             not name it.
    """

    sites: list[str]
    devices: list[str]
    site: Wholes
    device: Wholes

    @classmethod
    def of(cls, places: pl.DataFrame, more_devices: Iterable[str] = ()) -> Places:
        """places: columns site, device; the number of a row is its place. more_devices: other names to be known."""
        sites = sorted(set(places["site"]))
        devices = sorted({*places["device"], *more_devices})
        return cls(sites, devices, numbers(places["site"], sites), numbers(places["device"], devices))


@dataclass(frozen=True)
class Contrasts:
    """Mean changes of a site's people from one analyser and month to another, beyond what was expected.

    Shapes   every array is (contrasts,), in a fixed order.
    Units    device, earlier_device: places in Places.devices, ELSEWHERE for people from another site.
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
        return Contrasts(
            *(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self))
        )

    def at(self, rows: NDArray | slice) -> Contrasts:
        return Contrasts(*(getattr(self, f.name)[rows] for f in fields(self)))


class ChangeContrasts:
    """Running sums of one measure by class of people and site; each period's contrasts as periods are taken in order.

    Expected of a change is the mean of its class at the other sites so far, and what people of all classes changed
    there beyond that between the same two months (the season), children and adults apart.

    A period's contrasts are the same to the last digit whichever sites, analysers and periods come after it: running
    sums are whole numbers, and other sums run over what is in the period, in the order of names.
    """

    def __init__(self, places: Places, sums: Wholes | None = None):
        """sums: of the periods before, (CLASSES, sites, 3): people, change in thousandths and its square in millionths.

        `added` are the period's own, after each period.
        """
        self.places = places
        self.sums = np.zeros((CLASSES, len(places.sites), 3), dtype=np.int64) if sums is None else sums

    @on_one_thread
    def next(self, cells: pl.DataFrame) -> dict[str, Contrasts]:
        """Take in a period's cells of sql/54_change_cell.sql; site → its contrasts that end in the period.

        Missing  a site without a change to compare is absent; a class that fewer than five people elsewhere are in
                 tells nothing yet; a change on one analyser within a month neither.
        """
        of = {name: cells[name].to_numpy().astype(np.int64) for name in cells.columns}
        order = np.argsort(_in_one(*(of[name] for name in _ORDER)), kind="stable")
        of = {name: column[order] for name, column in of.items()}
        site, kind = self.places.site[of["place"]], of["class"]
        figures = np.column_stack([of[name] for name in _SUMS])
        self.added = np.zeros_like(self.sums)
        np.add.at(self.added, (kind, site), figures)
        self.sums = self.sums + self.added
        total = self.sums.sum(axis=1)[kind]
        every, others = total / _UNITS, (total - self.sums[kind, site]) / _UNITS
        usable = (others[:, 0] >= _FEWEST_ELSEWHERE) & (every[:, 0] >= 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            variance = (every[:, 2] - every[:, 1] ** 2 / every[:, 0]) / (every[:, 0] - 1)
            weight = np.where(usable, of["n"] / np.maximum(variance, _LEAST_VARIANCE), 0)
            expected = np.where(usable, others[:, 1] / others[:, 0], 0)
        mean = of["change"] / 1000 / of["n"]
        departure = mean - expected - self._season(site, of, weight, mean)
        earlier_site = self.places.site[of["earlier_place"]]
        is_same = (of["earlier_place"] == of["place"]) & (of["earlier_month"] == of["month"])
        kept = np.flatnonzero(usable & ~is_same)
        here = (earlier_site == site)[kept]
        return self._summed(
            {name: column[kept] for name, column in of.items()}, here, weight[kept], departure[kept]
        )

    def _season(self, site: Wholes, of: dict[str, Wholes], weight: Floats, mean: Floats) -> Floats:
        """What people at the other sites changed beyond their classes' means there, between the same two months.

        Shapes   all (cells,); weight 0 for a cell that tells nothing; out (cells,), 0 where nobody else tells.
        """
        _, pair = _distinct(of["earlier_month"], of["month"])
        season = np.zeros(len(mean))
        grown = is_grown(of["class"])
        for of_age in (True, False):
            rows = np.flatnonzero(grown == of_age)
            if len(rows):
                told = np.where(weight[rows] > 0, of["n"][rows], 0)
                season[rows] = self._season_of(
                    *(column[rows] for column in (site, pair, of["class"])), told, weight[rows], mean[rows]
                )
        return season

    def _season_of(self, site, pair, kind, n, weight, mean) -> Floats:
        """Of grown people, or of children; a site's own people are taken off the sums over all sites."""
        sites, site = np.unique(site, return_inverse=True)
        kinds, kind = np.unique(kind, return_inverse=True)
        here = self.sums[kinds][:, sites]
        elsewhere = (self.sums[kinds].sum(axis=1, keepdims=True) - here) / _UNITS
        known = elsewhere[..., 0] >= _FEWEST_ELSEWHERE
        expected = np.divide(elsewhere[..., 1], elsewhere[..., 0], out=np.zeros(known.shape), where=known)
        by_pair, by_site = pair * len(kinds) + kind, pair * len(sites) + site
        size = (int(pair.max()) + 1, len(kinds), len(sites))

        def others(figure: Floats, of_kind: Floats) -> Floats:
            """A cell's figure times its class's, summed over a pair's cells at all sites but one: (pairs, sites)."""
            total = np.bincount(by_pair, figure, size[0] * size[1]).reshape(size[:2]) @ of_kind
            own = np.bincount(by_site, figure * of_kind[kind, site], size[0] * size[2])
            return total - own.reshape(size[0], size[2])

        is_told = others(n, 1.0 * known) > 0.5  # whole numbers: nothing is left of the site's own
        of = others(weight, 1.0 * known)
        over = others(weight * mean, 1.0 * known) - others(weight, known * expected)
        return np.divide(over, of, out=np.zeros_like(over), where=is_told)[pair, site]

    def _summed(
        self, of: dict[str, Wholes], is_here: NDArray, weight: Floats, mean: Floats
    ) -> dict[str, Contrasts]:
        """Cells of one pair of analysers and months and one stage, put together by their weights."""
        places, month, n = self.places, of["month"], of["n"]
        keys, where = _distinct(
            places.site[of["place"]],
            places.device[of["place"]],
            np.where(is_here, places.device[of["earlier_place"]], ELSEWHERE),
            month,
            of["earlier_month"],
            stage_of(of["class"]),
        )
        weights = np.bincount(where, weight, len(keys))

        def averaged(value: Floats) -> Floats:
            return np.bincount(where, weight * value, len(keys)) / weights

        every = Contrasts(
            *keys[:, 1:].T,
            np.bincount(where, n, len(keys)).astype(np.int64),
            averaged(mean),
            1 / weights,
            averaged(month_begins(month) + of["days"] / n / DAYS_A_QUARTER),
            averaged(of["weeks"] / 1000 * 7 / DAYS_A_QUARTER / n),
        )
        first = np.flatnonzero(np.diff(keys[:, 0], prepend=-1))
        last = np.append(first, len(keys))[1:]
        return {places.sites[keys[a, 0]]: every.at(slice(a, b)) for a, b in zip(first, last, strict=True)}


def stage_of(kind: Wholes) -> Wholes:
    """The stage of a class: of sql/53_person_change.sql."""
    return kind // 5 % 3


def is_grown(kind: Wholes) -> NDArray[np.bool_]:
    """Whether a class is of people of 20 years and more."""
    return kind // 15 % 6 >= 3


def month_begins(month: Wholes) -> Floats:
    """The first day of months (12 × year + month − 1), in quarters of 91 days since 1970."""
    since_1970 = (np.asarray(month) - 12 * 1970).astype("datetime64[M]")
    return since_1970.astype("datetime64[D]").astype(float) / DAYS_A_QUARTER


def _distinct(*columns: Wholes) -> tuple[Wholes, Wholes]:
    """The rows that occur, in order, and for each row its place among them.

    Shapes   each (rows,) → (distinct, columns), (rows,).
    """
    _, first, where = np.unique(_in_one(*columns), return_index=True, return_inverse=True)
    return np.column_stack(columns)[first], where


def _in_one(*columns: Wholes) -> Wholes:
    """One whole number a row, in the order of the rows: sorting rows by several takes ten times as long.

    Shapes   each (rows,) → (rows,).
    """
    key, span = np.zeros(columns[0].size, dtype=np.int64), 1
    for column in columns if columns[0].size else ():
        lowest, width = int(column.min()), int(column.max()) - int(column.min()) + 1
        if span * width >= 2**63:  # no room for both: the numbers that occur, one after the other
            (key, span), (column, width) = _ranked(key), _ranked(column)
            lowest = 0
        key, span = key * width + (column - lowest), span * width
    return key


def _ranked(column: Wholes) -> tuple[Wholes, int]:
    """Each number's place among those that occur, and how many they are."""
    occurring, place = np.unique(column, return_inverse=True)
    return place, len(occurring)


def numbers(column: pl.Series, words: list[str]) -> Wholes:
    """Each word's place among the words."""
    return column.cast(pl.Enum(words)).to_physical().cast(pl.Int64).to_numpy()
