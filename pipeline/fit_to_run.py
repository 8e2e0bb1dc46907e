"""What must hold of a programme's settings and of the machine's clock before a run changes anything."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from pipeline.faults import Fault, SettingsFault
from pipeline.programme import Programme
from pipeline.store import Store

A_CLOCK_PUT_RIGHT = timedelta(days=1)
LEAP = timedelta(days=100)  # longer than a quarter: the longest time between runs that anybody schedules


def require_that_settings_fit(store: Store, programme: Programme, as_of: date) -> None:
    """Refuse settings that leave stored readings without a site, or in the future."""
    orphans = [
        site
        for (site,) in store.rows("select distinct site from reading.accepted order by site")
        if site not in programme.sites
    ]
    if orphans:
        n = store.value("select count(*) from reading.accepted where site = $site", {"site": orphans[0]})
        raise SettingsFault(
            "site missing from the settings",
            where=str(programme.path),
            found=f"no site {orphans[0]}; readings of it in the store: {n}",
            expected="every site whose files were read",
            next="put it back under [[site]]; to leave it out or rename it, begin a new store with the inbox as it is: "
            "move store/evenbeam.duckdb and store/archive aside (keep store/pseudonym.key and store/withdrawn)",
        )
    newest = store.value("select max(measured_on) from reading.accepted")
    if newest and newest > as_of:
        raise SettingsFault(
            "day before the readings",
            found=f"a run as of {as_of}, and readings up to {newest}",
            expected=f"a day from {newest} on",
            next="give a later --as-of, or none for today",
        )


def require_that_the_clock_went_on(store: Store, started_at: datetime) -> None:
    """Refuse a clock that went back: it would take the newest readings for readings from the future, and hold them.

    A day's difference is let pass, so that a change to winter time, or a clock put right, stops no run.
    """
    last = store.value("select max(started_at) from ledger.run")
    if last and started_at < last - A_CLOCK_PUT_RIGHT:
        raise Fault(
            "clock went back",
            found=f"{started_at:%Y-%m-%d %H:%M} now, and the last run began on {last:%Y-%m-%d %H:%M}",
            expected="a clock that goes on",
            next="set this machine's clock. Where it is right now and was wrong then, give the day yourself: "
            "--as-of DAY. Nothing was changed",
        )


def require_that_no_leap_destroys(store: Store, programme: Programme, started_at: datetime) -> None:
    """Refuse a clock that leapt ahead where [retention] would let readings or copies go by it: they do not come back.

    The last run is the only other witness of what day it is. It stays the witness, since a refused run is not
    recorded: every run says so until a person gives the day.
    """
    last = store.value("select max(started_at) from ledger.run")
    retention = programme.settings.retention
    if last and started_at > last + LEAP and (retention.files or retention.readings):
        raise Fault(
            "clock far ahead",
            found=f"{started_at:%Y-%m-%d} now, {(started_at - last).days} days after the last run, and [retention]",
            expected=f"at most {LEAP.days} days between runs, so that a wrong clock lets nothing go before its time",
            next=f"is it that day? Then say so once: --as-of {started_at:%Y-%m-%d}. "
            "Otherwise set this machine's clock. Nothing was changed",
        )
