"""Everything that has arrived, file by file: what `evenbeam run` does first."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import closing
from datetime import date, datetime
from functools import partial

from pipeline.intake import archive, inbox, one_file, pseudonyms
from pipeline.intake.in_turn import in_turn
from pipeline.intake.one_file import IntakeSummary, Setting
from pipeline.programme import Programme
from pipeline.store import Store

Progress = Callable[[int, int, str], None]


def receive(
    store: Store, programme: Programme, *, as_of: date, received_at: datetime, run_id: int, progress: Progress
) -> IntakeSummary:
    """Read every new file of the inbox into the store.

    A fault of one file holds or refuses that file and no other. Rows of a file come in one transaction, files in
    the order of their site and name, however many are worked on at once.
    Errors   StoreFault when the pseudonym key may be read by others. What no file can cause propagates.
    """
    found, messages = inbox.arrivals(programme)
    pads = pseudonyms.pads_of(pseudonyms.read_key(programme.store / "pseudonym.key"))
    setting = Setting(programme, as_of, received_at, run_id, pads)
    archive.clear_unfinished(setting.archive)
    shutil.rmtree(setting.spool, ignore_errors=True)
    setting.spool.mkdir(parents=True, mode=0o700)
    summary = IntakeSummary(messages=messages)
    try:
        prepare = partial(_prepare, setting)
        workers = store.value("select current_setting('threads')")
        with closing(in_turn(store, found, prepare, one_file.finish, workers=workers)) as results:
            for done, arrival in enumerate(found):
                progress(done, len(found), arrival.where)
                summary += next(results)
        progress(len(found), len(found), "all files read")
    finally:
        shutil.rmtree(setting.spool, ignore_errors=True)
    return summary


def _prepare(setting: Setting, store: Store, arrival: inbox.Arrival) -> one_file.Prepared:
    return one_file.prepare(store, setting, arrival)
