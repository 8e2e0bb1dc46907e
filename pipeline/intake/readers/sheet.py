"""XLSX: one sheet, typed cells made text in the profile's own writing, so that one way of reading serves all.

The line is the row of the sheet, blank rows included. A number cell is written with the profile's decimal sign; a
date cell as ISO 8601, which is then always read, whatever date format the profile names for text cells.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pipeline.faults import FileHeld, printable
from pipeline.intake import received
from pipeline.intake.readers import workbook_addresses, workbook_process
from pipeline.intake.readers.workbook_addresses import DAMAGE
from pipeline.intake.received import AddressPlace, Look
from pipeline.programme import Limits, Profile
from pipeline.seal import decoding
from pipeline.store import Store

_SAMPLE_ROWS = 200
_SPREAD_ROWS = 1000


class SheetReader:
    """One XLSX file."""

    def __init__(self, path: Path, profile: Profile, limits: Limits, *, where: str):
        self._profile, self._where, self._limits = profile, where, limits
        self._whole: pl.DataFrame | None = None  # the sheet as text, between look and read
        self._require_sane_size(path)

    def look(self, path: Path) -> Look:
        """The whole sheet is read here, once: every row is looked through for addresses, and `read` takes it over.

        Errors   FileHeld: no such sheet, no header in header_row.
        """
        self._whole = self._texts(path, self._limits.rows + self._profile.header_row + 1)
        if self._whole.height > self._limits.rows + self._profile.header_row:
            raise decoding.too_many_rows(self._where, self._limits.rows)
        rows = _as_rows(self._whole.head(self._profile.header_row + _SAMPLE_ROWS))
        header_row = self._profile.header_row
        if len(rows) < header_row or received.is_blank(rows[header_row - 1]):
            raise FileHeld(
                "held",
                where=f"{self._where}, row {header_row}",
                found="an empty sheet" if not rows else "no headers",
                expected="a row of headers and rows below it (header_row and sheet in the site's profile)",
                next="send the file again, or correct the profile",
                code="no_rows",
            )
        below = [row for row in rows[header_row:] if not received.is_blank(row)]
        return Look(
            rows[header_row - 1],
            tuple(below),
            address=self._address(path),
            spread=tuple(_as_rows(self._spread())),
        )

    def _address(self, path: Path) -> AddressPlace | None:
        try:
            return workbook_addresses.address_in(
                path,
                sheet=self._profile.sheet or 0,
                header_row=self._profile.header_row,
                memory=self._limits.memory,
            )
        except (*DAMAGE, workbook_process.Unreadable) as error:
            raise self._unreadable() from error
        except workbook_process.TooMuch as error:
            raise self._too_much() from error

    def _spread(self) -> pl.DataFrame:
        below = self._whole.slice(self._profile.header_row)
        return below.gather_every(max(1, below.height // _SPREAD_ROWS))

    def top_rows(self, path: Path) -> list[tuple[str, ...]]:
        """The sheet's first rows as text, blank ones and any preamble included."""
        return _as_rows(self._texts(path, self._profile.header_row + _SAMPLE_ROWS))

    def read(self, store: Store, path: Path, places: Mapping[str, int], width: int, spool: Path) -> None:
        received.begin(store)
        texts = self._texts(path) if self._whole is None else self._whole
        self._whole = None
        if self._profile.decimal != ".":
            texts = self._with_decimal_sign(path, texts)
        is_filled = pl.any_horizontal(pl.all().str.strip_chars().fill_null("") != "")
        delivered = (
            texts.with_row_index("line", offset=1)
            .with_columns(is_filled=texts.select(is_filled).to_series())
            .filter(pl.col("line") > self._profile.header_row, pl.col("is_filled"))
            .select(
                pl.col("line").cast(pl.Int64),
                *[pl.col(texts.columns[place]).alias(field) for field, place in places.items()],
            )
        )
        received.append_frame(store, delivered)

    def _texts(self, path: Path, most_rows: int | None = None) -> pl.DataFrame:
        return self._sheet(path, "string", most_rows)

    def _with_decimal_sign(self, path: Path, texts: pl.DataFrame) -> pl.DataFrame:
        """Number cells in the profile's writing. Only a number cell can be read both as a number and as a moment:
        text that looks like a number can be read as no moment."""
        numbers, moments = self._sheet(path, "float"), self._sheet(path, "datetime")
        signed = [
            pl.when(number.is_not_null() & moment.is_not_null())
            .then(text.str.replace(".", self._profile.decimal, literal=True))
            .otherwise(text)
            .alias(text.name)
            for text, number, moment in zip(texts, numbers, moments, strict=True)
        ]
        return texts.with_columns(signed)

    def _sheet(self, path: Path, dtype: str, most_rows: int | None = None) -> pl.DataFrame:
        try:
            return workbook_process.cells_of(
                path,
                sheet=self._profile.sheet or 0,
                memory=self._limits.memory,
                kind=dtype,
                most_rows=most_rows,
            )
        except workbook_process.NoSuchSheet as error:
            raise FileHeld(
                "held",
                where=self._where,
                found=f"sheets {', '.join(map(printable, error.names[:20]))}",
                expected=f"a sheet {self._profile.sheet!r}, as the site's profile says",
                next="rename the sheet or correct `sheet` in the profile",
                code="sheet_missing",
            ) from error
        except workbook_process.Unreadable as error:
            raise self._unreadable() from error
        except workbook_process.TooMuch as error:
            raise self._too_much() from error

    def _require_sane_size(self, path: Path) -> None:
        try:
            with zipfile.ZipFile(path) as parts:
                unpacked = sum(part.file_size for part in parts.infolist())
        except DAMAGE as error:
            raise self._unreadable() from error
        if unpacked > self._limits.unpacked_bytes:
            raise decoding.too_large(self._where, self._limits.unpacked_bytes)

    def _too_much(self) -> FileHeld:
        return FileHeld(
            "held",
            where=self._where,
            found=f"a workbook that cannot be read within {self._limits.memory} of memory",
            expected="a sheet whose cells fit in there (limits.memory)",
            next="save the sheet as CSV, or split it; or raise memory under [limits] in the programme's settings",
            code="file_too_large",
        )

    def _unreadable(self) -> FileHeld:
        return FileHeld(
            "held",
            where=self._where,
            found="a file that cannot be read as xlsx",
            expected="a whole xlsx file",
            next="open it, save it again as xlsx without a password, and send it",
            code="damaged",
        )


def _as_rows(texts: pl.DataFrame) -> list[tuple[str, ...]]:
    return [tuple(cell or "" for cell in row) for row in texts.iter_rows()]
