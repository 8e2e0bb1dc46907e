"""A small programme of invented people and the nights of its life, each a command that can be cut off anywhere.

Every command runs in a forked child, so that a kill costs no import and meets no test runner. Pages, curves and
comparisons of sites are left out: they write nothing of their own that could be lost, and take most of a run's time.
"""

from __future__ import annotations

import contextlib
import io
import os
import pickle
import re
import shutil
import signal
import sys
import time
import traceback
import types
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

HEADER = "Member,Date,Sex,Age,Ht,Wt,Fat"
SITES = ("east-pier", "north-quay")
PERSON = "7345019"  # who withdraws
PROFILE = """\
format = "csv"
[columns]
participant = { header = "Member" }
measured_on = { header = "Date" }
sex = { header = "Sex" }
age = { header = "Age" }
height = { header = "Ht" }
weight = { header = "Wt" }
body_fat_percent = { header = "Fat" }
"""
SETTINGS = """\
name = "Harbour District"
{more}
[results]
over_periods_every_days = 7
[limits]
threads = 1
[[site]]
id = "east-pier"
name = "East Pier"
profile = "profile.toml"
[[site]]
id = "north-quay"
name = "North Quay"
profile = "profile.toml"
"""


@dataclass(frozen=True)
class Night:
    """One command, what comes into the programme before it, and what an operator does after it was cut off."""

    name: str
    prepare: Callable[[Path], None]
    arguments: tuple[str, ...]  # FOLDER stands for the programme
    typed: str = ""
    afterwards: tuple[tuple[str, ...], ...] = ()  # where the same command is refused, because it was done already


def rows(first: int, day: str, n: int, more_kg: int = 0) -> list[str]:
    return [
        f"{first + i},{day},{'FM'[i % 2]},{25 + i % 40},170.0,{60 + i % 30 + more_kg}.5,{20 + i % 12}.0"
        for i in range(n)
    ]


def put(folder: Path, site: str, name: str, lines: list[str]) -> Path:
    path = folder / "inbox" / site / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([HEADER, *lines]) + "\n", encoding="utf-8")
    return path


def begin(folder: Path) -> None:
    folder.mkdir(parents=True)
    (folder / "profile.toml").write_text(PROFILE, encoding="utf-8")
    (folder / "programme.toml").write_text(SETTINGS.format(more=""), encoding="utf-8")
    first_arrivals(folder)


def first_arrivals(folder: Path) -> None:
    held = f"{PERSON},2025-03-01,F,41,166.0,900.0,31.0"
    own = [f"{PERSON},2025-02-0{day},F,41,166.0,70.0,31.0" for day in (3, 3, 4)]
    put(folder, "north-quay", "a.csv", [*rows(1000, "2025-02-03", 24), *own, held, f"{PERSON},2025-03-02"])
    put(folder, "east-pier", "a.csv", [*rows(2000, "2025-02-10", 24), *rows(2000, "2025-05-10", 24)])


def corrections(folder: Path) -> None:
    put(folder, "north-quay", "b.csv", [*rows(1000, "2025-02-03", 9, more_kg=1), *rows(1030, "2025-05-03", 15)])
    put(folder, "east-pier", "b.csv", [*rows(2000, "2025-02-10", 3), *rows(2040, "2025-02-11", 2)])
    put(folder, "east-pier", "held.csv", [])
    (folder / "inbox" / "east-pier" / "refused.csv").write_text(
        "Member,Date,Sex,Age,Ht,Wt,Fat,E-mail\n1,2025-02-03,F,30,170.0,60.0,30.0,a.person@example.org\n",
        encoding="utf-8",
    )


def later_arrivals(folder: Path) -> None:
    put(folder, "north-quay", "c.csv", [*rows(1000, "2025-06-03", 24), f"{PERSON},2025-06-04,F,41,166.0,70.0,31.0"])


def retention(folder: Path) -> None:
    kept = SETTINGS.format(more='[retention]\nreadings = "3 months"')
    (folder / "programme.toml").write_text(kept, encoding="utf-8")


def nothing(folder: Path) -> None:
    pass


def export(folder: Path) -> None:
    """What a site seals, in a folder of its own."""
    folder.mkdir(parents=True)
    (folder / "site.toml").write_text(PROFILE, encoding="utf-8")
    (folder / "seal.key").write_text("07" * 32 + "\n", encoding="ascii")
    (folder / "seal.key").chmod(0o600)
    (folder / "export.csv").write_text("\n".join([HEADER, *rows(1000, "2025-02-03", 400)]) + "\n", encoding="utf-8")


def lose_the_store(folder: Path) -> None:
    (folder / "store" / "evenbeam.duckdb").unlink()


RUN = ("run", "FOLDER", "--as-of", "2025-07-10")
LATER = ("run", "FOLDER", "--as-of", "2025-08-10")
NIGHTS = (
    Night("first run", nothing, RUN),
    Night("run with corrections", corrections, RUN),
    Night("withdraw", nothing, ("withdraw", "FOLDER", "--as-of", "2025-07-10"), typed=PERSON, afterwards=(RUN,)),
    Night("release", nothing, ("release", "FOLDER", "2025Q1", "--as-of", "2025-07-10")),
    Night("run with late files", later_arrivals, RUN),
    Night("rebuild", nothing, ("rebuild", "FOLDER")),
    Night("rebuild without a store", lose_the_store, ("rebuild", "FOLDER")),
    Night("run past a retention", retention, LATER),
)


LEFT_OUT = (
    ("building", "build_site_comparison"), ("over_periods", "build_curves"), ("over_periods", "build_devices"),
    ("over_periods", "build_outcomes"),
)  # fmt: skip
SEAL = ("seal", "FOLDER/export.csv", "--profile", "FOLDER/site.toml", "--key-file", "FOLDER/seal.key")


def ready() -> None:
    """Load everything and leave out what a kill cannot hurt. For the process that forks, before anything runs in it."""
    import dashboards
    from pipeline import cli, freezing, rebuilding, running, verifying, withdrawal  # noqa: F401
    from pipeline.seal import key_file

    dashboards.build_pages = pages
    for module, name in LEFT_OUT:
        setattr(import_module(f"pipeline.results.{module}"), name, lambda *_: None)
    key_file.secrets = types.SimpleNamespace(token_bytes=lambda n: b"\7" * n)  # the same key in every life


def pages(folder: Path) -> list[Path]:
    for name in ("index.html", "prevalence.html", "report.pdf"):
        (folder / name).write_text(f"page {name}\n", encoding="utf-8")
    return []


def command(arguments: tuple[str, ...], folder: Path, typed: str = "") -> tuple[int, str]:
    """The command's exit code, 99 for a fault of the program, and what it said on stderr."""
    from pipeline.cli import main

    before, sys.stdin = sys.stdin, io.StringIO(typed + "\n")
    with Path(os.devnull).open("w", encoding="utf-8") as silent, contextlib.redirect_stdout(silent):
        said = io.StringIO()
        with contextlib.redirect_stderr(said):
            try:
                code = main([one.replace("FOLDER", str(folder)) for one in arguments])
            except Exception as error:
                said.write(f"{type(error).__name__}: {error}")
                code = 99
    sys.stdin = before
    return code, said.getvalue()


CHANGES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.symlink", "os.link", "os.chmod")


# ---- children -----------------------------------------------------------------------------------------------


@dataclass
class Ended:
    """How a child ended."""

    signal: int  # 0: it ended by itself
    value: Any = None
    places: list[str] = field(default_factory=list)  # where it could have been killed


def forked(work: Callable[[], Any], *, kill_after: float | None = None) -> Ended:
    """Run `work` in a child; its value comes back through a pipe. `kill_after`: seconds until SIGKILL."""
    child = begun(work)
    if kill_after is not None:
        time.sleep(kill_after)
        os.kill(child.pid, signal.SIGKILL)
    return ended(child)


@dataclass(frozen=True)
class Child:
    pid: int
    pipe: int


def begun(work: Callable[[], Any]) -> Child:
    out, into = os.pipe()
    child = os.fork()
    if not child:
        os.close(out)
        try:
            with os.fdopen(into, "wb") as pipe:
                pickle.dump(work(), pipe)
        except BaseException:
            traceback.print_exc(file=sys.__stderr__)
            os._exit(98)
        os._exit(0)
    os.close(into)
    return Child(child, out)


def ended(child: Child) -> Ended:
    """Wait for a child."""
    with os.fdopen(child.pipe, "rb") as pipe:
        content = pipe.read()
    _, status = os.waitpid(child.pid, 0)
    if os.WIFSIGNALED(status):
        return Ended(os.WTERMSIG(status))
    if os.waitstatus_to_exitcode(status):
        raise RuntimeError("a child failed; its message is above")
    return Ended(0, pickle.loads(content))


class Places:
    """Every moment at which something durable changes, numbered; the process dies right before the chosen one."""

    def __init__(self, folder: Path, die_at: int | None = None):
        self.folder, self.die_at, self.seen = str(folder), die_at, []
        self.is_on = True
        sys.addaudithook(self._audit)
        self._watch_the_database()

    def _audit(self, event: str, arguments: tuple) -> None:
        if not self.is_on:
            return
        if event == "open":
            path, _, flags = arguments
            if not isinstance(path, str | bytes | os.PathLike) or not flags & (os.O_WRONLY | os.O_RDWR):
                return
        elif event not in CHANGES:
            return
        else:
            path = arguments[1] if event in ("os.rename", "os.symlink", "os.link") else arguments[0]
        if isinstance(path, int) or self.folder not in os.fsdecode(path):
            return
        self.at(f"{event} {_kind(os.fsdecode(path), self.folder)}")

    def _watch_the_database(self) -> None:
        from pipeline.store import Store

        execute_file = Store.execute_file

        @contextmanager
        def transaction(store: Any) -> Iterator[None]:
            store.connection.begin()
            try:
                yield
            except BaseException:
                store.connection.rollback()
                raise
            self.at("before a commit")
            store.connection.commit()
            self.at("after a commit")

        def watched(store: Any, name: str, /, **parameters: Any) -> None:
            if not name.startswith("0"):  # macros change nothing
                self.at(f"sql {name}")
            execute_file(store, name, **parameters)

        Store.transaction, Store.execute_file = transaction, watched

    def at(self, place: str) -> None:
        self.seen.append(place)
        if self.die_at is not None and len(self.seen) == self.die_at:
            os.kill(os.getpid(), signal.SIGKILL)


def _kind(path: str, folder: str) -> str:
    """A path without what differs from life to life."""
    parts = list(Path(path).relative_to(folder).parts)
    if "data" in parts:
        return "/".join([*parts[: parts.index("data") + 1], "…"])
    return "/".join(
        "PART" if ".part" in part else "…" if len(part) >= 32 or re.fullmatch(r"[0-9a-f]{2}|20..-..-.*", part) else part
        for part in parts
    )


def perform(night: Night, folder: Path, die_at: int | None = None) -> tuple[int, str, list[str]]:
    """In a child: the command, watched; its exit code, what it said and the places that it came by."""
    places = Places(folder, die_at)
    code, said = command(night.arguments, folder, night.typed)
    places.is_on = False
    return code, said, places.seen


def delete(folder: Path) -> None:
    """A programme with frozen, read-only folders in it."""
    for path in (folder, *folder.rglob("*")) if folder.exists() else ():
        if path.is_dir() and not path.is_symlink():
            path.chmod(0o755)
    shutil.rmtree(folder, ignore_errors=True)
