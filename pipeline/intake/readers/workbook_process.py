"""The cells of a workbook, read in a process of its own that may use so much memory and no more.

A few hundred bytes of XLSX can ask for a table of 17 billion cells, or name one long text a million times; a library
that believes them takes the whole machine down, or stops with a crash. Here it takes down its own process: the file
is held, and the run goes on. A process serves one file after the other, since starting one takes half a second.

    asked     one line of JSON: path, sheet (name or place), kind (string, float, datetime), most_rows
    answered  one line of JSON: bytes of the Arrow stream behind it; or error, and the sheets' names
"""

from __future__ import annotations

import atexit
import contextlib
import io
import json
import os
import re
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import polars as pl

_BYTES = {"MB": 10**6, "GB": 10**9, "MiB": 1 << 20, "GiB": 1 << 30}
_OWN_BYTES = 1 << 30  # address space of the interpreter and its libraries themselves
_MOST_SECONDS = 600
_ONE_THREAD = {"POLARS_MAX_THREADS": "1", "MALLOC_ARENA_MAX": "2", "RUST_BACKTRACE": "0"}


class Unreadable(Exception):
    """The workbook is damaged."""


class TooMuch(Exception):
    """Reading it took more memory or time than it may."""


class NoSuchSheet(Exception):
    """`names`: the sheets that there are."""

    def __init__(self, names: list[str]):
        super().__init__("no such sheet")
        self.names = names


def cells_of(
    path: Path, *, sheet: str | int, memory: str, kind: str = "string", most_rows: int | None = None
) -> pl.DataFrame:
    """One sheet from its first row and column on, each cell as `kind`.

    Errors   Unreadable, TooMuch, NoSuchSheet.
    """
    question = {"path": str(path.resolve()), "sheet": sheet, "kind": kind, "most_rows": most_rows}
    return pl.read_ipc_stream(io.BytesIO(_asked(question, memory)))


def sheets_of(path: Path, *, memory: str) -> list[str]:
    """The names of a workbook's sheets, in their order.

    Errors   Unreadable, TooMuch.
    """
    return json.loads(_asked({"path": str(path.resolve()), "kind": "names"}, memory))


# ---- this side ----------------------------------------------------------------------------------------------

_idle: dict[str, list[subprocess.Popen]] = {}
_lock = threading.Lock()


def _asked(question: dict[str, Any], memory: str) -> bytes:
    with _lock:
        waiting = _idle.setdefault(memory, [])
        process = waiting.pop() if waiting else None
    process = process or _started(memory)
    watch = threading.Timer(_MOST_SECONDS, process.kill)
    watch.start()
    try:
        process.stdin.write(json.dumps(question).encode() + b"\n")
        process.stdin.flush()
        answer = json.loads(process.stdout.readline() or b"null")
        content = process.stdout.read(answer["bytes"]) if answer and "bytes" in answer else b""
        if answer is None or len(content) < answer.get("bytes", 0):
            raise TooMuch
    except (OSError, TooMuch) as error:
        _ended(process)
        raise TooMuch from error
    except BaseException:
        _ended(process)
        raise
    finally:
        watch.cancel()
    with _lock:
        _idle[memory].append(process)
    if answer.get("error") == "no_such_sheet":
        raise NoSuchSheet(answer["names"])
    if "error" in answer:
        raise Unreadable
    return content


def _started(memory: str) -> subprocess.Popen:
    process = subprocess.Popen(
        [sys.executable, "-P", __file__, str(_bytes_of(memory))],  # -P: no file here stands for a library
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,  # a crash says where it happened, which tells nobody here anything
        env={**os.environ, **_ONE_THREAD, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    )
    return process


def _bytes_of(memory: str) -> int:
    number, unit = re.fullmatch(r"([0-9.]+)\s?([A-Za-z]+)", memory).groups()
    return int(float(number) * _BYTES[unit])


def _ended(process: subprocess.Popen) -> None:
    process.kill()
    with contextlib.suppress(OSError):
        process.stdin.close()
    process.stdout.close()
    process.wait()


@atexit.register
def _end_all() -> None:
    for waiting in _idle.values():
        while waiting:
            _ended(waiting.pop())


# ---- the other side -----------------------------------------------------------------------------------------


def _serve(most_bytes: int) -> None:
    """Answer questions from the standard input until it ends, as it does when whoever asks has gone."""
    import fastexcel

    try:
        import resource
    except ModuleNotFoundError:  # a system without such limits
        pass
    else:
        resource.setrlimit(resource.RLIMIT_AS, (most_bytes + _OWN_BYTES,) * 2)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for line in sys.stdin.buffer:
        try:
            content = _answer(json.loads(line))
            head = {"bytes": len(content)}
        except fastexcel.SheetNotFoundError:
            names = fastexcel.read_excel(Path(json.loads(line)["path"]).read_bytes()).sheet_names
            head, content = {"error": "no_such_sheet", "names": names}, b""
        except MemoryError:
            os._exit(1)
        except KeyboardInterrupt:
            return
        except BaseException:  # also the library's own panics, which are no Exception
            head, content = {"error": "damaged"}, b""
        sys.stdout.buffer.write(json.dumps(head).encode() + b"\n" + content)
        sys.stdout.buffer.flush()


def _answer(question: dict[str, Any]) -> bytes:
    import fastexcel

    book = fastexcel.read_excel(Path(question["path"]).read_bytes())
    if question["kind"] == "names":
        return json.dumps(book.sheet_names).encode()
    sheet = book.load_sheet(
        question["sheet"],
        header_row=None,
        skip_rows=0,
        dtypes=question["kind"],
        n_rows=question["most_rows"],
    )
    buffer = io.BytesIO()
    pl.DataFrame(sheet).write_ipc_stream(buffer)
    return buffer.getvalue()


if __name__ == "__main__":
    _serve(int(sys.argv[1]))
