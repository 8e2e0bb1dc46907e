"""Every kept file read again from the archive: what `evenbeam rebuild` does first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

from pipeline.faults import Fault, StoreFault, printable
from pipeline.intake import archive, ledger, one_file, one_pass, pseudonyms, tombstones
from pipeline.intake.arrival import Arrival
from pipeline.intake.in_turn import in_turn
from pipeline.intake.passes import passes
from pipeline.intake.setting import Setting, empty_spool, first_period_kept
from pipeline.intake.summary import IntakeSummary
from pipeline.programme import Programme
from pipeline.store import Store

Progress = Callable[[int, int, str], None]


def read_again(
    store: Store, programme: Programme, found: list[dict[str, Any]], started_at: datetime, progress: Progress
) -> IntakeSummary:
    """The kept copies, in the order given, with the day of the run that read each."""
    key = pseudonyms.read_key(programme.store / "pseudonym.key", accepted_files=len(found))
    pads = pseudonyms.pads_of(key)
    kept_out = tombstones.read(programme.store, withdrawals=ledger.withdrawals(store))
    of_all = Setting(programme, started_at.date(), started_at, 0, pads, kept_out)

    def begin(sibling: Store, file: dict) -> one_file.FileRead:
        as_of: date = file["as_of"]
        first_period = first_period_kept(programme, as_of, started_at)
        setting = replace(
            of_all, as_of=as_of, received_at=file["received_at"], run_id=file["run_id"], first_period=first_period
        )
        kept = archive.path_of(setting.archive, file["kept_sha256"])
        _require_as_it_was_kept(kept, file)
        entry = ledger.Entry(
            Arrival(file["site"], kept, file["name"]), file["sha256"], file["bytes"], file["received_at"],
            file["run_id"], file["kept_sha256"],
        )  # fmt: skip
        return one_file.begin_entry(sibling, setting, entry)

    def prepare(sibling: Store, files: Sequence[dict]) -> one_pass.Prepared:
        return one_pass.prepare(sibling, of_all, files, begin)

    def finish(sibling: Store, prepared: one_pass.Prepared) -> list[IntakeSummary]:
        return one_pass.finish(sibling, of_all, prepared, prepare_again=partial(prepare, sibling))

    together = list(passes(found, lambda file: file["bytes"]))
    summary, workers = IntakeSummary(), store.value("select current_setting('threads')")
    with empty_spool(programme), closing(in_turn(store, together, prepare, finish, workers=workers)) as results:
        one_by_one = chain.from_iterable(results)
        for done, file in enumerate(found):
            progress(done, len(found), printable(f"{file['site']}/{file['name']}"))
            summary += next(one_by_one)
    return summary


def require_that_all_can_be_read(programme: Programme, found: list[dict[str, Any]]) -> None:
    """Errors   Fault: a kept copy that is gone, or a file of a site that the settings do not name."""
    folder = programme.store / "archive"
    gone = [
        file
        for file in found
        if file["kept_sha256"] is None or not archive.path_of(folder, file["kept_sha256"]).exists()
    ]
    if gone:
        raise Fault(
            "kept copies gone",
            where=str(folder),
            found=f"no copy of {len(gone)} of {len(found)} files, such as {gone[0]['site']}/{gone[0]['name']}",
            expected="every accepted file",
            next="restore them from a backup. Where [retention] files let them go, the store cannot be rebuilt and "
            "stays as it is",
        )
    unknown = sorted({file["site"] for file in found} - set(programme.sites))
    if unknown:
        raise Fault(
            "site missing from the settings",
            where=str(programme.path),
            found=f"no site {unknown[0]}, and files of it in the store",
            expected="every site whose files were read",
            next="put it back under [[site]]",
        )


def _require_as_it_was_kept(kept: Path, file: dict[str, Any]) -> None:
    """A copy has its digest for a name: one that has changed would be read as if the site had sent it so."""
    if archive.digest_of(kept)[0] == file["kept_sha256"]:
        return
    is_as_sent = file["kept_sha256"] == file["sha256"]
    raise StoreFault(
        "kept copy damaged",
        where=str(kept),
        found=f"other bytes than those that were kept of {printable(file['site'] + '/' + file['name'])}",
        expected="the bytes whose sha256 is the copy's name",
        next="restore it from a backup"
        + (", or put the file there as the site sent it" if is_as_sent else "")
        + ". The store stays as it is",
    )
