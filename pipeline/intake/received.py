"""The temporary tables `received` and `broken_line`: what readers deliver, one file of a pass after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline import measures
from pipeline.store import Store

FIELDS = tuple(measures.FIELDS)


@dataclass(frozen=True)
class AddressPlace:
    """Where a file's first e-mail address stands, as far as its format tells without reading every row twice."""

    column: str = ""
    line: int | None = None


@dataclass(frozen=True)
class Look:
    """What can be seen of a file before anything of it is kept: its headers and its first rows, as text."""

    headers: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    encoding: str | None = None
    address: AddressPlace | None = None  # of all rows of the file
    spread: tuple[tuple[str, ...], ...] = ()  # rows from all over a file that is longer than the sample
    identifying: tuple[tuple[str, str], ...] = ()  # (column, kind) of direct identifiers known by the format itself


@dataclass(frozen=True)
class BrokenLine:
    """A line that does not have the header's fields; its cells cannot be told apart, so none is repeated."""

    line: int
    code: str  # row_cut_off, too_many_fields
    found: str
    expected: str


def begin_pass(store: Store) -> None:
    """Both tables, empty."""
    store.execute_file("05_received.sql")
    turn_to(store, 1)


def turn_to(store: Store, place: int) -> None:
    """Whatever a reader adds from here on is of the file at `place`, counted from 1."""
    store.execute("set variable place = $place", {"place": place})


def current_place(store: Store) -> int:
    """Of the file to which a reader adds now."""
    return store.value("select coalesce(getvariable('place'), 0)")


def rows_at(store: Store, place: int) -> int:
    """How many a file has that was read."""
    return store.value("select count(*) from received where file = $place", {"place": place})


def begin(store: Store) -> None:
    """Both tables without a row of the file that is being read."""
    store.execute_file("05_received_of_file.sql")


def append(
    store: Store, lines: Sequence[int], rows: Sequence[Sequence[str | None]], places: Mapping[str, int]
) -> None:
    """Add rows, given as all cells of a line, keeping the fields at `places`."""
    if not lines:
        return
    columns = {field: [row[place] for row in rows] for field, place in places.items()}
    frame = pl.DataFrame(
        {"line": list(lines), **columns}, schema={"line": pl.Int64, **dict.fromkeys(columns, pl.String)}
    )
    append_frame(store, frame)


def append_frame(store: Store, frame: pl.DataFrame) -> None:
    """Add rows given as a frame of `line` and fields, all text."""
    with store.lent("delivered", frame):
        store.execute("insert into received by name select * from delivered")


def append_broken(store: Store, broken: Sequence[BrokenLine]) -> None:
    if not broken:
        return
    with store.lent("delivered", pl.DataFrame([vars(one) for one in broken])):
        store.execute("insert into broken_line by name select * from delivered")


def address_at(line: int | None) -> AddressPlace | None:
    return None if line is None else AddressPlace(line=line)


def is_blank(cells: Sequence[str | None]) -> bool:
    return not any(cell and not cell.isspace() for cell in cells)
