"""The rows of a site's file as text, whatever its format: headers, and then (line, cells) one by one.

Cells are None for a line that does not have the header's fields: it cannot be told which is which, so it is left out
and counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipeline.faults import FileHeld
from pipeline.seal import decoding, limits
from pipeline.seal.delimited_rows import records
from pipeline.seal.json_lines import pairs_of, text_of_value
from pipeline.seal.profile import SealProfile
from pipeline.seal.typed_cells import parquet_rows, workbook_rows

Cells = list[str]


@dataclass
class Rows:
    headers: tuple[str, ...]
    rows: Iterator[tuple[int, Cells | None]]


@contextmanager
def rows_of(path: Path, profile: SealProfile) -> Iterator[Rows]:
    """Errors   FileHeld: the file is of another format, damaged, in another encoding, or has no headers."""
    where = path.name
    _require_format(path, profile)
    if profile.format == "xlsx":
        yield _with_headers(workbook_rows(path, profile, where), profile, where)
    elif profile.format == "parquet":
        yield _with_headers(parquet_rows(path, profile, where), profile, where)
    elif profile.format == "ndjson":
        with _text(path, profile) as text:
            keys = _keys(text, where)
        if not keys:
            raise _without_headers(where, "a JSON object a line")
        with _text(path, profile) as text:
            yield Rows(tuple(keys), _objects(text, list(keys), profile.decimal))
    else:
        with _text(path, profile) as text:
            rows = records(text, profile.separator, profile.quote)
            yield _with_headers(rows, profile, where)


@contextmanager
def _text(path: Path, profile: SealProfile) -> Iterator[Iterator[str]]:
    facts = decoding.survey(path, where=path.name, encoding=profile.document.get("encoding"))
    with decoding.text_of(path, facts.encoding, where=path.name) as text:
        yield decoding.lines_of(text, where=path.name, most=limits.LINE_CHARACTERS)


def _with_headers(rows: Iterator[tuple[int, Cells | None]], profile: SealProfile, where: str) -> Rows:
    header_row = 1 if profile.format == "parquet" else profile.header_row
    for line, cells in rows:
        if line == header_row and cells and any(cell.strip() for cell in cells):
            _require_few_columns(len(cells), where)
            return Rows(tuple(cells), _of_width(rows, len(cells), is_padded=profile.format == "xlsx"))
        if line >= header_row:
            break
    raise _without_headers(where, f"headers in line {header_row} and rows below them")


def _of_width(
    rows: Iterator[tuple[int, Cells | None]], width: int, *, is_padded: bool
) -> Iterator[tuple[int, Cells | None]]:
    """Rows that are not blank; None for those with other than `width` fields. A sheet's rows end where they please."""
    for line, cells in rows:
        if cells is None:
            yield line, None
        elif any(cell and not cell.isspace() for cell in cells):
            cells = (cells + [""] * width)[:width] if is_padded else cells
            yield line, cells if len(cells) == width else None


def _keys(text: Iterator[str], where: str) -> dict[str, None]:
    keys: dict[str, None] = {}
    for content in text:
        keys.update(dict.fromkeys(key for key, _ in pairs_of(content) or ()))
        _require_few_columns(len(keys), where)
    return keys


def _require_few_columns(n: int, where: str) -> None:
    if n > limits.COLUMNS:
        raise FileHeld(
            "not sealed",
            where=where,
            found=f"more than {limits.COLUMNS} columns",
            expected=f"at most {limits.COLUMNS}",
            next="check the delimiter in the profile, or export fewer columns",
        )


def _objects(text: Iterator[str], keys: list[str], decimal: str) -> Iterator[tuple[int, Cells | None]]:
    for line, content in enumerate(text, start=1):
        if not content.strip():
            continue
        pairs = pairs_of(content)
        values = dict(pairs or ())
        if pairs is None or len(values) < len(pairs):
            yield line, None
        else:
            yield line, [text_of_value(values.get(key), decimal) or "" for key in keys]


def _require_format(path: Path, profile: SealProfile) -> None:
    with path.open("rb") as file:
        first = file.read(4)
    found = {b"PK\x03\x04": "xlsx", b"PAR1": "parquet"}.get(first, "text")
    if found != (profile.format if profile.format in ("xlsx", "parquet") else "text"):
        raise FileHeld(
            "not sealed",
            where=path.name,
            found=f"a file that begins like {found}",
            expected=f"{profile.format}, as the profile says",
            next="correct `format` in the profile, or export the file anew",
        )


def _without_headers(where: str, expected: str) -> FileHeld:
    return FileHeld(
        "not sealed",
        where=where,
        found="no headers",
        expected=expected,
        next="check the file, and header_row and sheet in the profile",
    )
