"""Results → the tables of the programme's own view: each period by itself, and one that is as it was not again.

What small groups need withheld is withheld without the proof that a frozen release has (pipeline/freezing.py).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import polars as pl

from pipeline.disclosure.protect import Tables, protect_period, protect_rest
from pipeline.disclosure.rounded_counts import rounded_counts
from pipeline.own_source import program_digest
from pipeline.programme import Disclosure, Programme
from pipeline.release.periods_kept import PeriodsKept
from pipeline.release.unsuppressed import Unsuppressed

Progress = Callable[[int, int, str], None]

_PACKAGES = ("pipeline", "sql")
_LIBRARIES = ("duckdb", "numpy", "polars", "scipy")


def protected_view(results: Unsuppressed, programme: Programme, progress: Progress) -> Tables:
    """Every table as it may be shown, and the totals; rows of different periods in the order of the periods. Texts of
    percentile are categories."""
    rules = programme.settings.disclosure
    kept = PeriodsKept(programme.store)
    kept.forget_all_but(results.periods)
    parts = []
    for done, period in enumerate(results.periods, start=1):
        made_of = _made_of(results.digests[period], rules)
        tables = kept.read(period, made_of)
        if tables is None:
            tables = protect_period(results.of_period(period), rules, is_proved=False)
            tables["percentile"] = _with_categories(tables["percentile"])
            kept.keep(period, made_of, tables)
        parts.append(tables)
        progress(done, len(results.periods), f"protecting {period}")
    if not parts:
        parts.append(results.of_period(""))  # tables without rows
    found = {name: pl.concat([part[name] for part in parts]) for name in parts[0]}
    parts.clear()
    rest = protect_rest(results.rest, found["prevalence"], rules, is_proved=False)
    rest["data_quality"] = pl.concat([found["data_quality"], rest["data_quality"]])
    return rounded_counts(found | rest, rules.rounding)


def _with_categories(rows: pl.DataFrame) -> pl.DataFrame:
    """Texts as categories: millions of rows of which a few hundred texts are all there are."""
    return rows.with_columns(pl.col(pl.String).cast(pl.Categorical))


def _made_of(results: str, rules: Disclosure) -> str:
    """A digest of all that decides what a period shows."""
    parts = (program_digest(_PACKAGES, _LIBRARIES), rules.model_dump_json(), results)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()
