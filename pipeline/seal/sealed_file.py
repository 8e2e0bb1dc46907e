"""A sealed file: UTF-8 CSV under the project's own field names; there whole or not at all, and never replaced."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from pipeline.faults import Fault, printable
from pipeline.seal.addresses import holds_address
from pipeline.seal.full_names import is_name_like
from pipeline.seal.key_file import clear_unfinished, name_once


def sealed_path(path: Path, folder: Path | None) -> Path:
    """Where the sealed file of `path` goes: export.csv.gz → export.sealed.csv, beside it or in `folder`.

    Errors   Fault when there is one already, or when the file's own name is somebody's.
    """
    stem = path.name.removesuffix(".gz").removesuffix(".GZ")
    stem = stem.rpartition(".")[0] or stem
    if holds_address(stem) or is_name_like(stem.replace("_", " ").replace(".", " ").replace("-", " ")):
        raise Fault(
            "not sealed",
            where="a file whose name looks like a person's",
            expected="a name that says nothing of who is in it: it is shown and kept",
            next="rename the file, and seal it again",
        )
    final = (folder or path.parent) / f"{stem}.sealed.csv"
    clear_unfinished(final)
    if final.exists():
        raise already_there(final)
    return final


def already_there(final: Path) -> Fault:
    return Fault(
        "already sealed",
        where=printable(final, 300),
        found="a file of that name",
        expected="none: a sealed file is never replaced",
        next="move it away, or name another folder with --into, and seal again",
    )


def write_csv(
    text: TextIO, fields: Iterable[str], rows: Iterable[list[str]], progress: Callable[[int], None]
) -> None:
    """Write the header and the rows; `progress` hears how many are written."""
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(fields)
    for n, row in enumerate(rows, start=1):
        writer.writerow(row)
        if n % 10_000 == 0:
            progress(n)


@contextmanager
def written_once(final: Path) -> Iterator[TextIO]:
    """A text file that gets its name when the block ends without an error, and is gone otherwise.

    Until then it is hidden and ends in .part: an inbox passes such a file over.
    Errors   Fault when a file of that name has come meanwhile.
    """
    clear_unfinished(final)
    part = final.with_name(f".{final.name}.{os.getpid()}.part")
    try:
        with part.open("x", encoding="utf-8", newline="") as text:
            yield text
            text.flush()
            os.fsync(text.fileno())
        try:
            name_once(part, final)
        except FileExistsError as error:
            raise already_there(final) from error
    finally:
        part.unlink(missing_ok=True)
