"""A release as it may stand beside those that are frozen: nobody is given away by the difference between two."""

from __future__ import annotations

import polars as pl

from pipeline.disclosure.between_releases import (
    exposures,
    with_earlier_figures,
    without_small_differences,
)
from pipeline.disclosure.input_account import account_as_published
from pipeline.faults import Fault
from pipeline.programme import Programme
from pipeline.release import frozen, manifest
from pipeline.release.frozen import Version
from pipeline.release.frozen_tables import tables_in
from pipeline.release.schema import TABLES
from pipeline.release.table import published_table
from pipeline.store import Store, sql_text

Tables = dict[str, pl.DataFrame]

_SHOWN_GROUPS = 12


def guarded(
    programme: Programme, version: Version, tables: Tables, earlier: list[Tables], keep_small_changes: bool
) -> Tables:
    """The tables as they may stand beside every frozen release.

    Errors   Fault naming the groups that would be exposed, without any count.
    """
    least = programme.settings.disclosure.minimum_count
    keys = {table.name: table.key for table in TABLES}
    last_of = {
        one.period: one for one in frozen.versions_in(programme.published) if one.period != version.period
    }
    others = [(name, tables_in(frozen.folder_of(programme.published, one))) for name, one in last_of.items()]
    others += [(version.period, one) for one in earlier]
    tables = without_small_differences(tables, version.period, others, least)
    if earlier and keep_small_changes:
        tables = with_earlier_figures(earlier, tables, least, keys)
        tables = {table.name: published_table(table, tables[table.name]) for table in TABLES}
    found = [exposures(one, tables, least) for one in earlier]
    exposed = pl.concat(found).unique(maintain_order=True) if found else pl.DataFrame()
    if exposed.height:
        raise Fault(
            "would expose a few people",
            where=version.name,
            found=f"{exposed.height} counts that, beside an earlier version, tell of fewer than {least} people: "
            + _groups(exposed),
            expected="no difference between versions of under minimum_count people",
            next="give --keep-small-changes: such figures keep their earlier value, and all others are restated; "
            "or wait until more has come in. Nothing was frozen",
        )
    return tables


def _groups(exposed: pl.DataFrame) -> str:
    """Which groups, in words, without a count."""
    named = [
        f"{row['site'] or 'all sites'}, {row['family'].split(' ', 1)[-1]}"
        for row in exposed.sort("site", "family")
        .select("site", "family")
        .unique(maintain_order=True)
        .to_dicts()
    ]
    more = f" and {len(named) - _SHOWN_GROUPS} more" if len(named) > _SHOWN_GROUPS else ""
    return "; ".join(named[:_SHOWN_GROUPS]) + more


def account_beside(store: Store, programme: Programme) -> pl.DataFrame:
    """The input account, told so that no other release's account beside it tells of a few rows."""
    earlier = [
        manifest.account_in(frozen.folder_of(programme.published, one))
        for one in frozen.versions_in(programme.published)
    ]
    return account_as_published(
        store.frame(sql_text("64_input_account.sql")), earlier, programme.settings.disclosure.minimum_count
    )
