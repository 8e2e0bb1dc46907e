"""The files of a pass into the ledger, and their rows: accepted, held, duplicate or superseded. In one transaction.

What becomes of a row depends on the files before its own; the order of the files in the pass is that order, and the
accounts come out as if each had been filed by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline import measures
from pipeline.faults import FileHeld, FileRefused
from pipeline.intake import expectation, ledger
from pipeline.intake.arrival import Arrival
from pipeline.intake.held_messages import every_row_held, first_held_rows, held_rows_message
from pipeline.intake.ledger import Entering, Entry, Known
from pipeline.intake.one_file import FileRead
from pipeline.intake.summary import IntakeSummary
from pipeline.programme import Profile, Programme
from pipeline.store import Store, sql_text

_ENTERED = {"file": pl.Int32, "file_id": pl.Int32, "site": pl.String, "reader": pl.Int32}
_EXPECTATION = {
    "reader": pl.Int32, "code": pl.String, "named_field": pl.String, "field": pl.String, "expected": pl.String,
}  # fmt: skip
_HEADERS = {"reader": pl.Int32, "headers": pl.List(pl.String)}
_PASSING = ("still_changing", "not_readable")  # reasons to hold a file that say nothing of its bytes
_NAMED = tuple(name for name in measures.FIELDS if name != "participant")  # as 13_held_row.sql lists their cells


@dataclass(frozen=True)
class Filed:
    """What became of one file's rows, when it was filed: later files may supersede readings of it."""

    file_id: int
    read: int
    accepted: int
    held: int
    duplicate: int
    superseded: int
    withdrawn: int  # of people who withdrew: counted, and not kept
    expired: int  # of periods past their time: counted, and not kept
    replaced: int  # readings of earlier files that its rows supersede

    @classmethod
    def wholly_held(cls, file_id: int, rows: int) -> Filed:
        return cls(file_id, rows, 0, rows, 0, 0, 0, 0, 0)

    @property
    def is_wholly_held(self) -> bool:
        """No row could be taken: more likely a wrong profile than so many wrong lines. Those that must not be kept say
        nothing of it."""
        return 0 < self.held == self.read - self.withdrawn - self.expired


def file_pass(
    store: Store,
    programme: Programme,
    files: Sequence[FileRead],
    *,
    before_commit: Callable[[Store, list[int]], None] = lambda store, file_ids: None,
) -> list[IntakeSummary]:
    """Enter every file of a pass in the ledger and file its rows, all or nothing; the summary of each.

    `before_commit(store, file_ids)` is called in the transaction, of the files that are accepted.
    """
    with store.transaction():
        summaries, entering, met_again, lie_there = _sorted_out(store, programme, files)
        summaries |= _told_again(store, files, met_again)
        file_ids = dict(zip(entering, ledger.enter(store, list(entering.values())), strict=True))
        to_file = {place: file_id for place, file_id in file_ids.items() if entering[place].fault is None}
        filed = file_rows(store, entering, to_file) if to_file else {}
        shown = first_held_rows(store, [one.file_id for one in filed.values() if one.held])
        for place, one in filed.items():
            entry = entering[place].entry
            summaries[place] = _summary_of(one, entry.arrival, shown[one.file_id])
            if one.is_wholly_held:
                reason = str(every_row_held(entry.arrival, one.read))
                store.execute_file("18_file_wholly_held.sql", file_id=one.file_id, reason=reason)
            lie_there.append((entry, not one.is_wholly_held))
        lie_there += [
            (one.entry, False)
            for one in entering.values()
            if one.fault is not None and one.fault.code not in _PASSING
        ]
        ledger.remember_where_from(store, lie_there)
        accepted = [one.file_id for one in filed.values() if not one.is_wholly_held]
        if accepted:
            before_commit(store, accepted)
    return [summaries[place] for place in range(1, len(files) + 1)]


def _sorted_out(
    store: Store, programme: Programme, files: Sequence[FileRead]
) -> tuple[dict[int, IntakeSummary], dict[int, Entering], dict[int, Known], list[tuple[Entry, bool]]]:
    """Summaries of files without rows to file, what is to be entered in the ledger, and files that are held or refused
    again without being read, all by place; and what lies where it lay, with whether it was accepted."""
    known = ledger.known_files(store, [file.entry for file in files if file.entry is not None])
    rows = dict(store.rows("from rows_of_file")) if any(file.has_rows for file in files) else {}
    summaries: dict[int, IntakeSummary] = {}
    entering: dict[int, Entering] = {}
    met_again: dict[int, Known] = {}
    lie_there: list[tuple[Entry, bool]] = []
    for place, file in enumerate(files, start=1):
        entry, fault = file.entry, file.fault
        if file.is_waiting:
            summaries[place] = IntakeSummary()
            continue
        if entry is not None:
            profile = programme.profiles[file.arrival.site]
            before = known.get((file.arrival.site, entry.sha256))
            if file.is_known and before is not None and before.state != ledger.ACCEPTED:
                met_again[place] = before
                continue
            if file.is_known or (before is not None and before.state == ledger.ACCEPTED):
                lie_there.append((entry, True))
                is_earlier = before is None or before.profile_sha256 != profile.sha256
                summaries[place] = IntakeSummary(files_already_received=1, files_of_earlier_profile=int(is_earlier))
                continue
            if fault is None and not rows.get(place):
                fault = _no_rows(file)
            entering[place] = Entering(
                entry,
                profile,
                before.file_id if before else None,
                encoding=file.encoding if fault is None else None,
                kept_sha256=file.kept_sha256 if fault is None else None,
                fault=fault,
            )
        if fault is not None:
            summaries[place] = _summary_of_fault(fault)
    return summaries, entering, met_again, lie_there


def _told_again(store: Store, files: Sequence[FileRead], met_again: dict[int, Known]) -> dict[int, IntakeSummary]:
    """The summaries that files gave when they were read, of those that are held or refused again without it."""
    ledger.meet_again(store, [(known.file_id, files[place - 1].entry) for place, known in met_again.items()])
    shown = first_held_rows(store, [known.file_id for known in met_again.values() if known.rows_held])
    return {
        place: _summary_of(
            Filed.wholly_held(known.file_id, known.rows_held), files[place - 1].arrival, shown[known.file_id]
        )
        if known.rows_held
        else IntakeSummary(
            files_held=int(known.state == ledger.HELD),
            files_refused=int(known.state == ledger.REFUSED),
            messages=[known.reason or ""],
        )
        for place, known in met_again.items()
    }


def file_rows(store: Store, entering: dict[int, Entering], to_file: dict[int, int]) -> dict[int, Filed]:
    """File every row of the files at the places `to_file` (place → file_id). The caller owns the transaction."""
    profiles: dict[str, tuple[int, Profile]] = {}
    rows = []
    for place, file_id in to_file.items():
        site, profile = entering[place].entry.arrival.site, entering[place].profile
        reader, _ = profiles.setdefault(site, (len(profiles), profile))
        rows.append((place, file_id, site, reader))
    with store.lent("listed", pl.DataFrame(rows, schema=_ENTERED, orient="row")):
        store.execute_file("11_entered.sql")
    is_any_repeated = _find_repeated(store, [site for _, _, site, _ in rows])
    _file_held_rows(store, dict(profiles.values()))
    if is_any_repeated:
        store.execute_file("14_reading_superseded.sql")
    for name in ("14_reading_accepted.sql", "15_unaccepted_row.sql", "15_file_rows.sql"):
        store.execute_file(name)
    return _accounts(store)


def _find_repeated(store: Store, sites: Sequence[str]) -> bool:
    """Fill `repeated_reading`; returns whether any reading stands more than once."""
    is_any = store.value(sql_text("12_may_be_repeated.sql"))
    if is_any:
        store.execute_file("12_repeated_identity.sql", first_site=min(sites), last_site=max(sites))
        is_any = bool(store.value("select count(*) from repeated_identity"))
    store.execute_file("12_repeated_reading.sql" if is_any else "12_no_repeated_reading.sql")
    return is_any


def _file_held_rows(store: Store, profiles: dict[int, Profile]) -> None:
    """Every line with a reason to hold it, in the ledger. Where there is none, the long statement is spared."""
    reasons = store.rows(sql_text("13_first_reason.sql"))
    if not reasons:
        return
    expected = [
        (reader, code, named, *expectation.expected_of(profiles[reader], code, named))
        for reader, code, named in reasons
    ]
    headers = [
        (reader, [profile.columns[name].header if name in profile.columns else None for name in _NAMED])
        for reader, profile in profiles.items()
    ]
    with (
        store.lent("expectation", pl.DataFrame(expected, schema=_EXPECTATION, orient="row")),
        store.lent("reader_headers", pl.DataFrame(headers, schema=_HEADERS, orient="row")),
    ):
        store.execute_file("13_held_row.sql", fields=list(_NAMED))


def _accounts(store: Store) -> dict[int, Filed]:
    """What the ledger says of each file, less what later files of the same pass have changed of it."""
    replaced: dict[int, int] = {}
    since: dict[int, int] = {}
    for file, replaced_by, n in store.rows(
        "select file, replaced_by, count(*) from repeated_reading where replaced_by is not null group by all"
    ):
        replaced[replaced_by] = replaced.get(replaced_by, 0) + n
        since[file] = since.get(file, 0) + n
    return {
        file: Filed(
            file_id, read, accepted + since.get(file, 0), held, duplicate, superseded - since.get(file, 0), *left,
            replaced.get(file, 0),
        )
        for file, file_id, read, accepted, held, duplicate, superseded, *left in store.rows(
            "select entered.file, file_id, rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded, "
            "rows_withdrawn, rows_expired from ledger.file join entered using (file_id)"
        )
    }  # fmt: skip


def _no_rows(file: FileRead) -> FileHeld:
    return FileHeld(
        "held",
        where=file.arrival.where,
        found="headers and no row below them",
        expected="one reading a line",
        next="send the file again",
        code="no_rows",
    )


def _summary_of_fault(fault: FileHeld) -> IntakeSummary:
    is_refused = isinstance(fault, FileRefused)
    return IntakeSummary(files_held=int(not is_refused), files_refused=int(is_refused), messages=[str(fault)])


def _summary_of(filed: Filed, arrival: Arrival, shown: list[tuple]) -> IntakeSummary:
    messages = [held_rows_message(arrival, shown, held=filed.held, of=filed.read)] if filed.held else []
    return IntakeSummary(
        files_accepted=int(not filed.is_wholly_held),
        files_held=int(filed.is_wholly_held),
        rows_read=filed.read,
        rows_accepted=filed.accepted,
        rows_held=filed.held,
        rows_duplicate=filed.duplicate,
        rows_superseded=filed.superseded,
        rows_withdrawn=filed.withdrawn,
        rows_expired=filed.expired,
        readings_replaced=filed.replaced,
        messages=messages if filed.is_wholly_held else [],
        row_messages=[] if filed.is_wholly_held else messages,
    )
