"""What becomes of one hostile case at every door of the program, and whether that is allowed.

Allowed are acceptance with an account that adds up, and a Fault of one clear message. Anything else is a Finding: any
other exception, an account that does not add up, a message that is none, or a case that takes too long.
"""

from __future__ import annotations

import signal
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from threading import Event
from types import SimpleNamespace

from hostile_cases import Case

from pipeline.faults import Fault, FileRefused, SettingsFault
from pipeline.intake import headers, identifiers, one_file, one_pass, readers, received
from pipeline.intake.arrival import Arrival
from pipeline.intake.inspect import inspect_file
from pipeline.intake.ledger import Entry
from pipeline.intake.setting import Setting
from pipeline.programme import Limits, Profile, Programme, read_profile
from pipeline.seal.command import seal_file
from pipeline.seal.profile import read_seal_profile
from pipeline.store import Store

AS_OF = date(2025, 6, 30)
KEY = bytes(range(32))
PADS = (bytes(64), bytes(range(64)))
LIMITS = Limits(memory="500MB", threads=1)
MOST_SECONDS = 10.0  # of processor time
_STANDSTILL = 12  # times as long by the clock: the machine may be busy with other things
_SUFFIX = {"xlsx": "xlsx", "parquet": "parquet", "ndjson": "ndjson", "fhir": "ndjson"}


class Finding(Exception):
    """Something that hostile input must not be able to do."""


class _TookTooLong(BaseException):
    """No Exception, so that no door can take it for a broken file."""


class Trial:
    """A store in memory and a folder, used for one case after the other."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.store = Store.open(None, memory_limit=LIMITS.memory, threads=1, may_read=[folder])
        self._n = 0

    def close(self) -> None:
        self.store.close()

    def outcome(self, case: Case) -> str:
        """How the case ended at its door: accepted in some way, or the kind of fault.

        Errors   Finding.
        """
        return self._tried(case.door, getattr(self, f"_{case.door}"), case)

    def _tried(self, door: str, does: Callable[[Case], str], case: Case) -> str:
        stopped = Event()
        try:
            with _in_time() as stopped:
                return does(case)
        except Fault as fault:
            _require_clear(fault)
            return f"refused: {fault.code}" if isinstance(fault, FileRefused) else _short(fault)
        except (Finding, KeyboardInterrupt):
            raise
        except BaseException as error:  # a library may have made another error of being stopped
            if stopped.is_set():
                raise Finding(f"{door}: more than {MOST_SECONDS} s") from error
            raise Finding(f"{door}: {type(error).__name__}: {str(error)[:300]}") from error

    # ---- doors ---------------------------------------------------------------------------------------------

    def _written(self, case: Case) -> tuple[Path, Profile]:
        self._n += 1
        path = self.folder / f"case.{_SUFFIX.get(case.kind, 'csv')}"
        path.write_bytes(case.content)
        return path, read_profile(self._profile_file(case.profile))

    def _profile_file(self, text: str) -> Path:
        path = self.folder / "profile.toml"
        path.write_bytes(text.encode("utf-8", "surrogateescape"))
        return path

    def _read(self, case: Case) -> str:
        """As intake does until the rows stand in `received`."""
        path, profile = self._written(case)
        reader = readers.reader_for(path, profile, LIMITS, where="north-quay/case")
        look = reader.look(path)
        wanted = {field: column.header for field, column in profile.columns.items()}
        identifiers.refuse_direct_identifiers(look, where="north-quay/case", as_of=AS_OF, headers=wanted)
        places = headers.columns_of(profile, look.headers, where="north-quay/case", most=LIMITS.columns)
        spool = self.folder / "spool"
        spool.unlink(missing_ok=True)
        received.begin_pass(self.store)
        reader.read(self.store, path, places, len(look.headers), spool)
        rows, lines, broken = self.store.rows(
            "select count(*), count(distinct line), (select count(*) from broken_line "
            "where line in (select line from received)) from received"
        )[0]
        if rows != lines or broken != self.store.value("select count(*) from broken_line"):
            raise Finding(f"read: {rows} rows on {lines} lines, {broken} broken ones among them")
        return "read"

    def _intake(self, case: Case) -> str:
        """All the way: checked, entered in the ledger under a digest of its own, every row accounted for."""
        path, profile = self._written(case)
        programme = SimpleNamespace(
            profiles={"north-quay": profile},
            settings=SimpleNamespace(limits=LIMITS, period="quarter"),
            store=self.folder / "store",
        )
        setting = Setting(programme, AS_OF, datetime(2025, 6, 30, 8), 1, PADS)
        setting.spool.mkdir(parents=True, exist_ok=True)
        entry = Entry(
            Arrival("north-quay", path, path.name), uuid.UUID(int=self._n).hex * 2, len(case.content),
            setting.received_at, 1, kept_sha256="0" * 64,
        )  # fmt: skip
        def prepare(entries: Sequence[Entry]) -> one_pass.Prepared:
            return one_pass.prepare(
                self.store, setting, entries, lambda store, one: one_file.begin_entry(store, setting, one)
            )

        [done] = one_pass.finish(self.store, setting, prepare([entry]), prepare_again=prepare)
        parts = done.rows_accepted + done.rows_held + done.rows_duplicate + done.rows_superseded
        stand = self.store.value("select count(*) from received") if done.rows_read else 0
        if done.rows_read != parts or done.rows_read != stand:
            raise Finding(f"intake: {done.rows_read} read, {parts} accounted for, {stand} received")
        for message in (*done.messages, *done.row_messages):
            _require_printable(message)
        if done.files_accepted:
            return "accepted"
        return "refused" if done.files_refused else "held"

    def _inspect(self, case: Case) -> str:
        path, _ = self._written(case)
        found = inspect_file(path)
        for line in (*found.reasons, *found.undecided, *found.direct_identifiers):
            _require_printable(line)
        if not found.undecided:
            read_profile(self._profile_file(found.profile_toml))
            return "a profile"
        return "open questions"

    def _seal(self, case: Case) -> str:
        path, _ = self._written(case)
        profile = read_seal_profile(self.folder / "profile.toml")
        (self.folder / "case.sealed.csv").unlink(missing_ok=True)
        final, changes = seal_file(path, profile, KEY, as_of=AS_OF)
        if final.read_text(encoding="utf-8").count("\n") != changes.rows + 1:
            raise Finding(f"seal: {changes.rows} rows, and another number of lines")
        return "sealed"

    def _profile(self, case: Case) -> str:
        read_profile(self._profile_file(case.profile))
        return "accepted"

    def _seal_profile(self, case: Case) -> str:
        read_seal_profile(self._profile_file(case.profile))
        return "accepted"

    def _programme(self, case: Case) -> str:
        self._profile_file(case.profile)
        path = self.folder / "programme.toml"
        path.write_bytes(case.content)
        Programme.read(path)
        return "accepted"


def _short(fault: Fault) -> str:
    if isinstance(fault, SettingsFault):
        return "settings fault"
    return f"held: {fault.code}" if fault.code else f"fault: {fault.what}"


def _require_clear(fault: Fault) -> None:
    _require_printable(str(fault))
    if not fault.what or not fault.next:
        raise Finding(f"a fault that says too little: {fault!s:.200}")


def _require_printable(message: str) -> None:
    strange = {char for char in message if not char.isprintable() and char != "\n"}
    if strange or len(message) > 4000 or message.count("\n") > 12:
        raise Finding(f"a message of {len(message)} characters with {sorted(map(ord, strange))[:5]}")


@contextmanager
def _in_time() -> Iterator[Event]:
    """Stop what takes too much processor time, or stands still; the event tells that it did, whatever came of it."""
    stopped = Event()

    def stop(*_: object) -> None:
        stopped.set()
        raise _TookTooLong

    timers = ((signal.ITIMER_PROF, signal.SIGPROF, 1), (signal.ITIMER_REAL, signal.SIGALRM, _STANDSTILL))
    for timer, number, times in timers:
        signal.signal(number, stop)
        signal.setitimer(timer, times * MOST_SECONDS)
    try:
        yield stopped
    finally:
        for timer, _, _ in timers:
            signal.setitimer(timer, 0)
