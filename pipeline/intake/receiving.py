"""Everything that has arrived, file by file: what `evenbeam run` does first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from datetime import date, datetime
from functools import partial
from itertools import chain
from pathlib import PurePosixPath

from pipeline.faults import Fault, SettingsFault, printable
from pipeline.intake import archive, inbox, kept_ledger, ledger, one_file, one_pass, pseudonyms, sources
from pipeline.intake.amounts import amount
from pipeline.intake.in_turn import in_turn
from pipeline.intake.judgement import judged_by
from pipeline.intake.passes import passes, weight_of_new
from pipeline.intake.setting import ReadFile, Setting, empty_spool, first_period_kept
from pipeline.intake.summary import IntakeSummary
from pipeline.intake.tombstones import read as read_tombstones
from pipeline.intake.unchanged import forget_others, unchanged
from pipeline.programme import Programme
from pipeline.store import Store

Progress = Callable[[int, int, str], None]
Pass = Sequence[inbox.Arrival]
Announce = Callable[[Store, list[int]], None]


def receive(
    store: Store,
    programme: Programme,
    *,
    as_of: date,
    received_at: datetime,
    run_id: int,
    progress: Progress,
    read_file: ReadFile = lambda where, read: read(),
) -> IntakeSummary:
    """Read every new file of the inbox and of the sources into the store.

    A source that is out of reach is told, and the run goes on without it; the next one reads what waits there.
    A fault of one file holds or refuses that file and no other. Rows of a file come in one transaction, with those of
    the other files of its pass; files in the order of their site and name, however many are worked on at once.
    Errors   StoreFault when the pseudonym key may be read by others, or is gone though files were accepted with it.
             What no file can cause propagates.
    """
    with empty_spool(programme) as spool, sources.opened(programme) as places:
        setting = Setting(
            programme, as_of, received_at, run_id, _pads(store, programme), read_tombstones(programme.store),
            first_period_kept(programme, as_of, received_at), spool.stat().st_ctime_ns, read_file,
        )  # fmt: skip
        archive.clear_unfinished(setting.archive)
        found, passed_over = _arrivals(store, setting, places, progress)
        summary = IntakeSummary(
            passed_over=sum(one.is_misplaced for one in passed_over),
            messages=[one.message for one in passed_over],
        )
        earlier: Counter[str] = Counter()  # site → files that were read with an earlier profile
        with closing(_read_and_filed(store, setting, found)) as results:
            for done, arrival in enumerate(found):
                progress(done, len(found), printable(arrival.where))
                one = next(results)
                earlier[arrival.site] += one.files_of_earlier_profile
                summary += one
        progress(len(found), len(found), "all files read")
    if summary.rows_withdrawn or summary.rows_expired or setting.tombstones:
        archive.sweep(setting.archive, ledger.kept_copies(store))
    lost = [place for place in places if place.out_of_reach]
    # First of all messages: of many only some are shown.
    at_fault = IntakeSummary(
        messages=[str(place.out_of_reach) for place in lost], lost_sources=[place.name for place in lost]
    )
    said = [_read_with_earlier_profile(site, n) for site, n in sorted(earlier.items()) if n]
    return at_fault + summary + IntakeSummary(messages=said)


def _pads(store: Store, programme: Programme) -> tuple[bytes, bytes]:
    return pseudonyms.pads_of(
        pseudonyms.read_key(programme.store / "pseudonym.key", accepted_files=ledger.accepted_files(store))
    )


def _arrivals(
    store: Store, setting: Setting, places: list[sources.Source], progress: Progress
) -> tuple[list[inbox.Arrival], list[inbox.PassedOver]]:
    """Everything to read, in the order of site and name, wherever it lies; and what was passed over."""
    found, passed_over = inbox.arrivals(setting.programme)
    if not places:
        return found, passed_over
    listing = sources.listed(
        places,
        setting.programme.sites,
        ledger.fetched_before(store),
        judged_by=judged_by(setting),
        now=setting.received_at,
        progress=progress,
    )
    if listing.found:
        found = sorted(found + listing.found, key=lambda one: (one.site, PurePosixPath(one.name).parts))
    return found, passed_over + listing.passed_over


def _read_with_earlier_profile(site: str, n: int) -> str:
    return str(
        Fault(
            "read before",
            where=f"inbox/{site}",
            found=f"{amount(n, 'file')} of site {site} read with an earlier profile",
            expected="files read with the site's profile as it is now",
            next=f"nothing, if that is meant: {'it stays' if n == 1 else 'they stay'} as read. To read "
            "every kept file with the profiles as they are now: `evenbeam rebuild PROGRAMME`",
        )
    )


def _read_and_filed(store: Store, setting: Setting, found: list[inbox.Arrival]) -> Iterator[IntakeSummary]:
    """The summary of each file, in order: passes are prepared side by side, here or on a cluster, and filed in turn."""
    known, profiles = unchanged(store, found), setting.programme.profiles
    forget_others(store, known)
    rest = [arrival for arrival in found if arrival not in known]
    together = list(passes(rest, weight_of_new(ledger.accepted_sizes(store))))
    announce = partial(_announce, setting)
    is_far = setting.programme.settings.engine.kind == "dask"
    with closing((_far if is_far else _here)(store, setting, together, announce)) as results:
        one_by_one = chain.from_iterable(results)
        for arrival in found:
            if arrival in known:
                is_earlier = known[arrival] != profiles[arrival.site].sha256
                yield IntakeSummary(files_already_received=1, files_of_earlier_profile=int(is_earlier))
            else:
                yield next(one_by_one)


def _here(store: Store, setting: Setting, together: list[Pass], announce: Announce) -> Iterator[list[IntakeSummary]]:
    begin = partial(one_file.begin, setting=setting, accepted=ledger.accepted(store))

    def prepare(sibling: Store, arrivals: Pass) -> one_pass.Prepared:
        return one_pass.prepare(sibling, setting, arrivals, begin)

    def finish(sibling: Store, prepared: one_pass.Prepared) -> list[IntakeSummary]:
        return one_pass.finish(
            sibling, setting, prepared, prepare_again=partial(prepare, sibling), before_commit=announce
        )

    workers = store.value("select current_setting('threads')")
    return in_turn(store, together, prepare, finish, workers=workers)


def _far(store: Store, setting: Setting, together: list[Pass], announce: Announce) -> Iterator[list[IntakeSummary]]:
    try:
        from pipeline.intake import on_cluster  # Dask is an extra, and takes its time to import
    except ModuleNotFoundError as error:
        raise SettingsFault(
            "Dask is not installed",
            where="[engine] kind",
            found=f"no module {error.name}",
            expected='what kind = "dask" needs',
            next="pip install 'evenbeam[dask]', here and on every worker",
        ) from error
    return on_cluster.in_turn(store, setting, together, announce)


def _announce(setting: Setting, store: Store, file_ids: list[int]) -> None:
    kept_ledger.announce(store, setting.archive, file_ids)
