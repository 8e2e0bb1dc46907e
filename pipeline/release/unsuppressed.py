"""What of a store goes towards a release, before disclosure control: result.* by table, and how much it rests on."""

from __future__ import annotations

import hashlib
from datetime import date
from functools import cached_property

import polars as pl

from pipeline import measures
from pipeline.periods_apart import BY_PERIOD, people_and_rows
from pipeline.programme import Disclosure
from pipeline.release.schema import TABLES
from pipeline.store import Store, sql_text
from pipeline.waiting_figures import resting_on

TOTALS = "total"
Tables = dict[str, pl.DataFrame]
_SEEDS = (0, 1)  # two hashes of 64 bits for each row


class Unsuppressed:
    """result.* of a store, read as far as it is asked for; the store must not change meanwhile.

    Tables are those of TABLES, and the totals under TOTALS, each in a total order but for percentiles. Of these, in a
    group that is too small for any, there is one row, which tells how many people it has.
    """

    def __init__(self, store: Store, rules: Disclosure):
        self._store = store
        self._of_percentile = {
            "least": rules.minimum_people_for_percentile,
            "first": min(measures.PERCENTILES),
        }

    @property
    def periods(self) -> list[str]:
        return sorted(self.digests)

    @cached_property
    def over_periods_as_of(self) -> date | None:
        """The day that figures over all periods rest on, where they wait for theirs; None: on all that is here."""
        return resting_on(self._store)

    @cached_property
    def digests(self) -> dict[str, str]:
        """Period → digest of what of_period gives. That of percentiles was written with them."""
        parts: dict[str, list[str]] = {}
        for table, period, digest in self._store.rows(sql_text("92_digest_of_period.sql")):
            parts.setdefault(period, []).append(f"{table} {digest}")
        for (period,), rows in sorted(self._people.partition_by("period", as_dict=True).items()):
            parts.setdefault(period, []).append(f"people {digest_of_rows(rows)}")
        return {
            period: hashlib.sha256("\n".join(part).encode()).hexdigest() for period, part in parts.items()
        }

    def of_period(self, period: str) -> Tables:
        """The tables that disclosure control takes a period at a time (protect_period).

        Texts of percentiles are categories: a million rows of which a few hundred texts are all there are.
        """
        tables = self._by_period(period) | {"data_quality": self._people.filter(period=period)}
        return tables | {"percentile": with_categories(tables["percentile"])}

    @cached_property
    def rest(self) -> Tables:
        """The others (protect_rest)."""
        tables = {
            table.name: self._store.frame(sql_text(table.query))
            for table in TABLES
            if table.name not in (*BY_PERIOD, "data_quality")
        }
        tables["data_quality"] = people_and_rows(self._data_quality)[1]
        return tables | {TOTALS: self._store.frame(sql_text("90_published_total.sql"))}

    def whole(self) -> Tables:
        """Every table, of all periods."""
        found = self._by_period(None) | self.rest | {"data_quality": self._data_quality}
        return {name: found[name] for name in (*(table.name for table in TABLES), TOTALS)}

    @cached_property
    def _data_quality(self) -> pl.DataFrame:
        return self._store.frame(sql_text("90_published_data_quality.sql"))

    @cached_property
    def _people(self) -> pl.DataFrame:
        return people_and_rows(self._data_quality)[0]

    def _by_period(self, period: str | None) -> Tables:
        found = {}
        for table in TABLES:
            if table.name in BY_PERIOD:
                asked = self._of_percentile if table.name == "percentile" else {}
                found[table.name] = self._store.frame(sql_text(table.query), {"period": period, **asked})
        return found


def with_categories(rows: pl.DataFrame) -> pl.DataFrame:
    return rows.with_columns(pl.col(pl.String).cast(pl.Categorical))


def digest_of_rows(rows: pl.DataFrame) -> str:
    """Of the rows of a table in their order."""
    digest = hashlib.sha256(repr(rows.schema).encode())
    for seed in _SEEDS:
        digest.update(rows.hash_rows(seed).to_numpy().tobytes())
    return digest.hexdigest()
