"""What must hold before a period is frozen: it is over, all that came was read, and its earlier versions are there.

Each of these raises a Fault that says what to do; nothing is frozen then.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

from pipeline import period as periods
from pipeline.faults import Fault, SettingsFault, StoreFault, nearest, printable, printable_first
from pipeline.intake import archive, inbox, ledger
from pipeline.intake.amounts import amount
from pipeline.intake.unchanged import unchanged
from pipeline.programme import Programme
from pipeline.release import frozen
from pipeline.release.frozen import Version
from pipeline.release.frozen_tables import record_in
from pipeline.store import Store


def require_a_period_that_is_over(programme: Programme, period: str, as_of: date, before_its_end: bool) -> None:
    """A period of the programme's kind whose last day is before `as_of`, unless somebody insists."""
    kind = programme.settings.period
    if periods.kind_of(period) != kind:
        raise SettingsFault(
            "not a period of this programme",
            found=printable(period),
            expected=f"a {kind} such as {periods.FORMS[kind]}",
            next="give one; nothing was frozen",
        )
    last = periods.last_day(period)
    if last >= as_of and not before_its_end:
        raise Fault(
            "period not over",
            where=period,
            found=f"its last day is {last}, and today is taken to be {as_of}",
            expected="a period that has ended",
            next="freeze it after that day; to freeze it all the same, give --before-its-end. Nothing was frozen",
        )


def next_version(store: Store, programme: Programme, period: str, why: str | None) -> Version:
    """The version to be frozen: the first, or the one after all that ever were, of which none may be lost."""
    numbers = [one.number for one in frozen.versions_in(programme.published) if one.period == period]
    recorded = store.rows(
        "select version from ledger.release where period = $period and state = 'frozen' order by version",
        {"period": period},
    )
    gone = [number for (number,) in recorded if number not in numbers]
    if gone or numbers != list(range(1, len(numbers) + 1)):
        lost = gone[0] if gone else min(set(range(1, max(numbers) + 1)) - set(numbers))
        raise StoreFault(
            "frozen release gone",
            where=str(frozen.folder_of(programme.published, Version(period, lost))),
            expected="every version that was ever frozen",
            next="restore the folder from a backup: later versions are compared with it. Nothing was frozen",
        )
    if numbers and not (why and why.strip()):
        raise Fault(
            "already frozen",
            where=str(frozen.folder_of(programme.published, Version(period, numbers[-1]))),
            expected="the reason for a restatement, which is published with it",
            next=f'evenbeam release PROGRAMME.toml {period} --why "late files from north-quay". Nothing was frozen',
        )
    if not numbers and why:
        raise SettingsFault(
            "nothing to restate",
            where=period,
            expected="--why for a version after the first",
            next="leave --why out: this period is frozen for the first time",
        )
    return Version(period, len(numbers) + 1)


def require_everything_read(store: Store, programme: Programme) -> None:
    """No file waits in the inbox or the sources, and the last run came to its end."""
    found, _ = inbox.arrivals(programme)
    seen, known = ledger.states(store), unchanged(store, found)
    waiting = [
        one.where
        for one in found
        if one not in known and (one.site, archive.digest_of(one.path)[0]) not in seen
    ]
    if store.value("select outcome from ledger.run order by run_id desc limit 1") == "finished_without_source":
        raise Fault(
            "files waiting",
            where=str(programme.path),
            found="a source that was out of reach in the last run",
            expected="a run that has read everything",
            next="evenbeam run PROGRAMME.toml when it can be reached, or take the source out of the settings and run; "
            "then freeze. Nothing was frozen",
        )
    if waiting or store.value("select count(*) from ledger.file where not is_built and state = 'accepted'"):
        raise Fault(
            "files waiting",
            where=str(programme.inbox),
            found=f"{amount(len(waiting), 'file')} not read yet: {printable_first(waiting)}"
            if waiting
            else "a run that did not finish",
            expected="a run that has read everything",
            next="evenbeam run PROGRAMME.toml, then freeze. Nothing was frozen",
        )


def require_readings(store: Store, period: str) -> None:
    """Somebody counts in the period."""
    there = [
        one for (one,) in store.rows("select distinct period from reading.participant_period order by period")
    ]
    if period not in there:
        raise Fault(
            f"no readings in {period}",
            where=str(store.path),
            expected=f"a period with readings{nearest(period, there)}" if there else "a period with readings",
            next="give one of those; nothing was frozen",
        )


def require_same_groups(programme: Programme, earlier: list[Path]) -> None:
    """Two versions cut into other groups could be subtracted group from group."""
    if not earlier:
        return
    record, settings = record_in(earlier[-1]), programme.settings
    then = {
        "minimum_count": record["disclosure"]["minimum_count"],
        "minimum_people_for_percentile": record["disclosure"]["minimum_people_for_percentile"],
        "age groups": [[one["age_from"], one["age_to"]] for one in record["age_groups"]],
        "adult_bmi": record.get("bandings_chosen", {}).get("adult_bmi"),
        "standard_population": record.get("bandings_chosen", {}).get("standard_population"),
    }
    now = {
        "minimum_count": settings.disclosure.minimum_count,
        "minimum_people_for_percentile": settings.disclosure.minimum_people_for_percentile,
        "age groups": [list(one) for one in (*settings.ages.groups, *settings.ages.totals)],
        **settings.bandings.model_dump(),
    }
    differing = [name for name in then if then[name] != now[name]]
    if differing:
        raise SettingsFault(
            "settings changed since the period was frozen",
            where=str(programme.path),
            found=f"other settings than then: {', '.join(differing)}",
            expected="the groups and rules of the version before, or the two could be subtracted from each other",
            next="put them back for the restatement, and change them from the next period on. Nothing was frozen",
        )
