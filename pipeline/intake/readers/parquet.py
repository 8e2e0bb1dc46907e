"""Parquet: typed columns made text in the profile's own writing.

The file is read by a database of its own, in memory, that can open this file and nothing else: whatever a broken file
does to the one that reads it, the store is not touched by it, and gets a copy that this program wrote.

The line is the row of the file, 1 is the first. A number takes the profile's decimal sign; dates and moments become
ISO 8601; a moment with a zone is taken in UTC, so that no machine's own zone decides on a day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import duckdb
from duckdb import CaseExpression, ColumnExpression, ConstantExpression, Expression, FunctionExpression

from pipeline.faults import FileHeld, printable
from pipeline.intake import received
from pipeline.intake.received import AddressPlace, Look
from pipeline.programme import Limits, Profile
from pipeline.seal import decoding
from pipeline.seal.addresses import PATTERN_OF_CELLS
from pipeline.store import SETTINGS, Store, as_named, literal

_SAMPLE_ROWS = 200
_SPREAD_ROWS = 1000
_ADDRESS = ConstantExpression(PATTERN_OF_CELLS)
# Types whose text cannot hold an address; TIMESTAMP stands for its several units.
_WITHOUT_TEXT = ("BOOLEAN", "TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT", "UTINYINT", "USMALLINT", "UINTEGER",
                 "UBIGINT", "UHUGEINT", "FLOAT", "DOUBLE", "DATE", "TIME", "TIMESTAMP")  # fmt: skip


class ParquetReader:
    """One Parquet file."""

    def __init__(self, path: Path, profile: Profile, limits: Limits, *, where: str):
        self._profile, self._where, self._limits = profile, where, limits
        self._headers: list[str] = []

    def look(self, path: Path) -> Look:
        """Errors   FileHeld for a damaged file, and for one of too many rows."""
        with self._opened(path) as relation:
            if relation.count("*").fetchall()[0][0] > self._limits.rows:
                raise decoding.too_many_rows(self._where, self._limits.rows)
            self._headers = list(relation.columns)[:-1]  # the last is the reader's row number
            if len(self._headers) > self._limits.columns:
                return Look(tuple(self._headers), ())  # headers.columns_of says so
            texts = [self._text(relation, header) for header in self._headers]
            if not texts:
                return Look((), ())
            rows = relation.select(*texts).limit(_SAMPLE_ROWS).fetchall()
            address = self._address(relation, texts)
            spread = self._spread(relation, texts)
        return Look(tuple(self._headers), _as_rows(rows), address=address, spread=_as_rows(spread))

    def _address(self, relation: duckdb.DuckDBPyRelation, texts: list[Expression]) -> AddressPlace | None:
        """Every cell of every row is looked at, nested and binary ones in the text that they print as. Columns of
        numbers and moments can hold none."""
        line = ColumnExpression("file_row_number") + ConstantExpression(1)
        firsts = {
            header: FunctionExpression("min", CaseExpression(_holds_address(text), line))
            for header, text, kind in zip(self._headers, texts, relation.types, strict=False)
            if str(kind).split("_")[0] not in _WITHOUT_TEXT
        }
        found = relation.aggregate(list(firsts.values())).fetchall()[0] if firsts else ()
        held = [(first, header) for header, first in zip(firsts, found, strict=True) if first]
        return AddressPlace(min(held)[1], min(held)[0]) if held else None

    def _spread(self, relation: duckdb.DuckDBPyRelation, texts: list[Expression]) -> list[tuple]:
        number = ColumnExpression("file_row_number")
        step = max(1, relation.count("*").fetchall()[0][0] // _SPREAD_ROWS)
        kept = FunctionExpression("mod", number, ConstantExpression(step)) == ConstantExpression(0)
        return relation.filter(kept).select(*texts).limit(2 * _SPREAD_ROWS).fetchall()

    def read(self, store: Store, path: Path, places: Mapping[str, int], width: int, spool: Path) -> None:
        received.begin(store)
        with self._opened(path, spool) as relation:
            line = ColumnExpression("file_row_number") + ConstantExpression(1)
            fields = [self._text(relation, self._headers[place]).alias(field) for field, place in places.items()]
            # A row of nulls is blank, as an empty line is: kept copies have them where somebody left.
            is_filled = FunctionExpression("greatest", *(self._text(relation, one) for one in self._headers))
            filled = relation.filter(is_filled.isnotnull()).select(line.alias("line"), *fields)
            filled.write_parquet(str(spool), compression="uncompressed")
        store.execute_file("06_received_from_copy.sql", path=_named(spool))

    @contextmanager
    def _opened(self, path: Path, *writable: Path) -> Iterator[duckdb.DuckDBPyRelation]:
        """The file as a relation of a database that can open it and nothing else, `writable` apart.

        Errors   FileHeld for whatever cannot be read of it, or not within limits.memory.
        """
        with duckdb.connect(
            config=dict(SETTINGS, memory_limit=self._limits.memory, temp_directory="")
        ) as connection:
            allowed = [text for one in (path, *writable) for text in as_named(one.resolve())]
            connection.execute("set allowed_paths = $allowed", {"allowed": allowed})
            connection.execute("set enable_external_access = false")
            connection.execute("set lock_configuration = true")
            try:
                self._require_names_that_differ(connection, path)
                yield connection.from_parquet(_named(path.resolve()), file_row_number=True)
            except duckdb.OutOfMemoryException as error:
                raise self._too_much() from error
            except (duckdb.Error, MemoryError, UnicodeError, OverflowError) as error:  # a lie may come out as any
                raise self._damaged() from error

    def _too_much(self) -> FileHeld:
        return FileHeld(
            "held",
            where=self._where,
            found=f"a file that cannot be read within {self._limits.memory} of memory",
            expected="a Parquet file whose row groups fit in there (limits.memory)",
            next="write it with smaller row groups, or raise memory under [limits] in the programme's settings",
            code="file_too_large",
        )

    def _damaged(self) -> FileHeld:
        return FileHeld(
            "held",
            where=self._where,
            found="a file that cannot be read as Parquet",
            expected="a whole Parquet file",
            next="send the file again",
            code="damaged",
        )

    def _require_names_that_differ(self, connection: duckdb.DuckDBPyConnection, path: Path) -> None:
        elements = connection.execute(
            "select name, coalesce(num_children, 0) from parquet_schema($path)", {"path": _named(path.resolve())}
        ).fetchall()
        counted = Counter(name.casefold() for name in _of_the_top(elements))
        twice = sorted(name for name, n in counted.items() if n > 1)
        if twice:  # DuckDB would give one of them another name
            raise FileHeld(
                "held",
                where=self._where,
                found=f"the column {printable(twice[0])} twice, but for its letter case",
                expected="it once",
                next="rename one of the columns and send the file again",
                code="header_twice",
            )

    def _text(self, relation: duckdb.DuckDBPyRelation, header: str) -> Expression:
        """A column as text, in the profile's writing."""
        kind = str(relation.types[relation.columns.index(header)])
        column: Expression = ColumnExpression(header)
        if kind == "TIMESTAMP WITH TIME ZONE":
            column = FunctionExpression("timezone", ConstantExpression("UTC"), column)
        text = column.cast("VARCHAR")
        if kind in ("FLOAT", "DOUBLE"):
            text = FunctionExpression(
                "regexp_replace", text, ConstantExpression(r"\.0$"), ConstantExpression("")
            )
        if kind in ("FLOAT", "DOUBLE") or kind.startswith("DECIMAL"):
            text = FunctionExpression(
                "replace", text, ConstantExpression("."), ConstantExpression(self._profile.decimal)
            )
        return text


def _named(path: Path) -> str:
    return literal(path) or str(path)  # what cannot be written is not found, and held


def _of_the_top(elements: list[tuple[str, int]]) -> Iterator[str]:
    """The columns' names among all elements of a schema, which follow each other depth first."""
    inside = 0
    for name, children in elements[1:]:
        if not inside:
            yield name
        else:
            inside -= 1
        inside += children


def _holds_address(text: Expression) -> Expression:
    """The sign alone first: it is found many times faster, and few columns have it."""
    has_sign = FunctionExpression("contains", text, ConstantExpression("@"))
    return CaseExpression(has_sign, FunctionExpression("regexp_matches", text, _ADDRESS))


def _as_rows(rows: list[tuple]) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(cell or "" for cell in row) for row in rows)
