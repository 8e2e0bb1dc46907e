"""Watching over a run: its log, and telling somebody how it ended, as [notify] says."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from pipeline.faults import Fault, title_of
from pipeline.notify import tell
from pipeline.programme import Programme
from pipeline.run_log import RunLog
from pipeline.store import Store


@contextmanager
def watched(programme: Programme) -> Iterator[RunLog]:
    """The log of a run that the with block does. A failure in it is logged, told, and raised again."""
    log = RunLog(programme.store / "log", datetime.now)
    try:
        yield log
    except Exception as error:
        fault = title_of(error)
        log.write("run_failed", fault=fault)
        next_step = error.next if isinstance(error, Fault) else "read the run's messages, and report this"
        _tell(programme, log, outcome="failed", fault=fault, next=next_step)
        raise
    notify = programme.settings.notify
    if log.outcome == "finished_without_source":
        next_step = "evenbeam run PROGRAMME says which; look at that server, or ask whoever runs it"
        _tell(programme, log, outcome="finished without it", fault="source out of reach", next=next_step)
    elif log.exit_code and notify and notify.when == "held":
        _tell(programme, log, outcome="held files", next="evenbeam status PROGRAMME --site ID")


def log_files(store: Store, log: RunLog) -> None:
    """An event for each file that the run received."""
    files = store.frame(
        "select site, sha256, state, reason_code, rows_read, rows_accepted, rows_held, rows_duplicate, "
        "rows_superseded from ledger.file where run_id = $run_id order by file_id",
        {"run_id": log.run_id},
    )
    for file in files.iter_rows(named=True):
        log.write("file", **file)


def _tell(programme: Programme, log: RunLog, **said: str | None) -> None:
    if programme.settings.notify:
        message = {"programme": programme.settings.name, "run_id": log.run_id, **said}
        for line in tell(programme.settings.notify, message):
            log.write("not_told", why=line)
