"""reading.participant_period → tally.value, tally.moment, tally.band, tally.band_of_ages of the touched periods.

Everything counted is a whole number, so tallies add up exactly over files, sites, periods and machines.
"""

from __future__ import annotations

import polars as pl

from pipeline.measures import BANDINGS
from pipeline.programme import Ages, Programme
from pipeline.promises import require_promises
from pipeline.store import Store


def build_tallies(store: Store, programme: Programme) -> None:
    """Bring the tallies of the periods in `touched_period` up to date, mark them stale for the results, and every file
    as built.

    `build_readings` leaves `touched_period` and `changed_person` in the same connection and transaction: which periods
    are counted anew, and who changed in the others. Age groups that changed in the settings count every period anew.

    Errors   StoreFault when a promise of sql/checks/ is broken: nothing is changed then.
    """
    if renew_age_groups(store, programme.settings.ages):
        store.execute_file("33_every_period_is_touched.sql")
    store.execute_file("30_counted_anew.sql")
    store.execute_file("30_tally_value.sql")
    store.execute_file("31_tally_moment.sql")
    store.execute_file("32_tally_band.sql")
    with store.lent("registered_banding", _registered_bandings()):
        store.execute_file("32_tally_band_of_ages.sql")
    store.execute("drop view counted_anew")
    store.execute("drop table changed_person")
    require_promises(store)
    store.execute_file("36_stale_period.sql")
    store.execute("update ledger.file set is_built = true where not is_built")


def _registered_bandings() -> pl.DataFrame:
    begins = [(banding.name, banding.age_from) for banding in BANDINGS.values()]
    return pl.DataFrame(begins, schema={"banding": pl.String, "age_from": pl.Int16}, orient="row")


def renew_age_groups(store: Store, ages: Ages) -> bool:
    """Write the settings' age groups to reference.age_group; True when that changed a group that was there."""
    groups, totals = (
        set(ages.groups),
        set(ages.totals) - set(ages.groups),
    )  # a group that is a total counts once
    wanted = sorted([(*ends, False) for ends in groups] + [(*ends, True) for ends in totals])
    there = store.rows("select age_from, age_to, is_total from reference.age_group order by all")
    if there == wanted:
        return False
    schema = {"age_from": pl.Int16, "age_to": pl.Int16, "is_total": pl.Boolean}
    store.replace_rows("reference.age_group", pl.DataFrame(wanted, schema=schema, orient="row"))
    return bool(there)
