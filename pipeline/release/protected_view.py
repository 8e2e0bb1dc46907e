"""Results → the tables of the programme's own view: each period by itself, and one that is as it was not again.

What small groups need withheld is withheld without the proof that a frozen release has (pipeline/freezing.py).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import polars as pl

from pipeline.disclosure.protect import Tables, protect_period, protect_rest
from pipeline.disclosure.rounded_counts import rounded_counts
from pipeline.own_source import program_digest
from pipeline.periods_apart import BY_PERIOD
from pipeline.programme import Disclosure, Programme
from pipeline.release.periods_kept import KeptPeriod, PeriodsKept
from pipeline.release.schema import TABLES
from pipeline.release.table import published_table
from pipeline.release.unsuppressed import Unsuppressed, digest_of_rows, with_categories

Progress = Callable[[int, int, str], None]

_PACKAGES = ("pipeline", "sql")
_LIBRARIES = ("duckdb", "numpy", "polars", "scipy")
_OF_ALL_SITES = "prevalence of all sites"  # with its counts as they are, which a trend is held against


@dataclass(frozen=True)
class View:
    """What may be shown, and of what it was made.

    periods: in their order, at least one; the tables of BY_PERIOD as published_table gives them. rest: the others,
    protected, data_quality among them, and the totals.
    """

    periods: list[KeptPeriod]
    rest: Tables
    rules: Disclosure

    def made_of(self, table: str) -> str:
        """A digest of all that decides what the table shows."""
        if table in BY_PERIOD:
            return _digest(f"{period.period} {period.made_of}" for period in self.periods)
        return _made_of(digest_of_rows(self.rest[table]), self.rules)


def protected_view(results: Unsuppressed, programme: Programme, progress: Progress) -> View:
    """What of the results may be shown: periods as they are kept, and those decided on anew."""
    rules = programme.settings.disclosure
    kept = PeriodsKept(programme.store)
    kept.forget_all_but(results.periods)
    periods = []
    for done, period in enumerate(results.periods, start=1):
        made_of = _made_of(results.digests[period], rules)
        found = kept.read(period, made_of)
        if found is None:
            protected = protect_period(results.of_period(period), rules, is_proved=False)
            found = KeptPeriod.of(period, made_of, _as_published(protected, rules))
            kept.keep(found)
        periods.append(found)
        progress(done, len(results.periods), f"protecting {period}")
    if not periods:  # tables without rows
        periods.append(KeptPeriod.of("", _made_of("", rules), _as_published(results.of_period(""), rules)))
    rest = protect_rest(results.rest, _together(periods, _OF_ALL_SITES), rules, is_proved=False)
    rest["data_quality"] = pl.concat([_together(periods, "data_quality"), rest["data_quality"]])
    return View(periods, rounded_counts(rest, rules.rounding), rules)


def _as_published(protected: Tables, rules: Disclosure) -> Tables:
    """The tables of BY_PERIOD as they are published, and what the rest is made of besides."""
    of_all = protected["prevalence"].filter(population="all")
    rounded = rounded_counts({name: protected[name] for name in BY_PERIOD}, rules.rounding)
    return {_OF_ALL_SITES: of_all, "data_quality": protected["data_quality"]} | {
        table.name: published_table(table, with_categories(rounded.pop(table.name)))
        for table in TABLES
        if table.name in BY_PERIOD
    }


def _together(periods: list[KeptPeriod], table: str) -> pl.DataFrame:
    return pl.concat([period.rows(table) for period in periods])


def _made_of(results: str, rules: Disclosure) -> str:
    return _digest((program_digest(_PACKAGES, _LIBRARIES), rules.model_dump_json(), results))


def _digest(parts: Iterable[str]) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()
