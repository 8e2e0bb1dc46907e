"""reading.accepted → tally.change_value, and contrasts of people's changes as periods are taken in order.

A night works out the periods from the first on that its files touched: a change ends at a person's next reading, and
what is usual and expected of a change is taken from all periods so far, so that a touched period reaches all later ones
and no earlier one.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.in_parts import parts_of_people
from pipeline.results import kept_change
from pipeline.statistics.change_contrast import CLASSES, ChangeContrasts, Contrasts, Places
from pipeline.statistics.change_spread import change_bounds
from pipeline.store import Store, sql_text


@dataclass(frozen=True)
class PersonChanges:
    """Temporary tables of people's changes from a period on. first: that period, None for all."""

    store: Store
    first: str | None
    places: Places

    @property
    def measures(self) -> list[str]:
        """Those of which anybody has a change, in this period or before."""
        return [
            name
            for (name,) in self.store.rows("select distinct measure from tally.change_value order by measure")
        ]

    def of(self, measure: str) -> ChangesOfMeasure:
        return ChangesOfMeasure(self, measure)


@contextmanager
def person_changes(store: Store, first: str | None) -> Iterator[PersonChanges]:
    """The changes that end in the first period or later; tally.change_value of those periods is rewritten.

    In the caller's transaction, for the length of a with block.
    """
    store.execute_file("53_change_place.sql")
    parts = parts_of_people(store)
    for part in range(parts):
        store.execute_file("53_change_reading.sql", first=first, parts=parts, part=part)
        store.execute_file("53_person_change.sql", first=first)
    store.execute("drop table change_reading")
    store.execute_file("54_change_value.sql", first=first)
    places = store.frame("select site, device from change_place order by place")
    try:
        yield PersonChanges(store, first, Places.of(places, kept_change.devices(store, first)))
    finally:
        store.execute("drop table person_change")
        store.execute("drop table change_place")


class ChangesOfMeasure:
    """One measure's contrasts, a period after the other, from the first on."""

    def __init__(self, changes: PersonChanges, measure: str):
        self.store, self.measure, self.places = changes.store, measure, changes.places
        store, first = self.store, changes.first
        self.periods = [
            period
            for (period,) in store.rows(
                "select distinct period from tally.change_value "
                "where measure = $measure and ($first is null or period >= $first) order by period",
                {"measure": measure, "first": first},
            )
        ]
        before = store.frame(
            "select class, change, sum(n)::bigint as n from tally.change_value "
            "where measure = $measure and period < $first group by class, change",
            {"measure": measure, "first": first},
        )
        self.values = [self._whole(before)]
        self.contrasts = ChangeContrasts(
            self.places, kept_change.sums_before(store, measure, first, self.places)
        )

    def next(self, period: str) -> dict[str, Contrasts]:
        """A period's contrasts by site, as ChangeContrasts.next gives them."""
        asked = {"measure": self.measure, "period": period}
        values = self.store.frame(
            "select class, change, n from tally.change_value where measure = $measure and period = $period",
            asked,
        )
        self.values = [np.concatenate([*self.values, self._whole(values)], axis=1)]
        low, high = change_bounds(*self.values[0], classes=CLASSES)
        bounds = pl.DataFrame({"class": np.arange(CLASSES), "low": low, "high": high})
        with self.store.lent("change_bound", bounds):
            cells = self.store.frame(sql_text("54_change_cell.sql"), asked)
        return self.contrasts.next(cells)

    @staticmethod
    def _whole(values: pl.DataFrame) -> np.ndarray:
        return np.stack([values[name].to_numpy().astype(np.int64) for name in ("class", "change", "n")])
