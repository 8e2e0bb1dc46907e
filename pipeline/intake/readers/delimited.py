"""CSV and TSV: a first look, then the fast way where it is exact and the tolerant way where it is not."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path

from pipeline.faults import FileHeld
from pipeline.intake import received
from pipeline.intake.readers import delimited_fast, delimited_tolerant
from pipeline.intake.readers.delimited_fast import PlainLines
from pipeline.intake.received import Look, is_blank
from pipeline.programme import Limits, Profile
from pipeline.seal import decoding
from pipeline.seal.decoding import TextFacts
from pipeline.seal.delimited_rows import records
from pipeline.store import Store

SAMPLE_ROWS = 200


class DelimitedReader:
    """One CSV or TSV file."""

    def __init__(self, path: Path, profile: Profile, limits: Limits, *, where: str):
        self._profile, self._where, self._most = profile, where, limits.line_characters
        self._most_columns = limits.columns
        self._facts: TextFacts = decoding.survey(
            path,
            where=where,
            encoding=profile.encoding,
            most_bytes=limits.unpacked_bytes,
            most_rows=limits.rows,
            most_characters=limits.line_characters,
            rows_from=profile.header_row + 1,
        )

    def look(self, path: Path) -> Look:
        """Errors   FileHeld (no_rows) for an empty file or one without a header line."""
        with decoding.text_of(path, self._facts.encoding, where=self._where) as text:
            lines = decoding.lines_of(text, where=self._where, most=self._most)
            rows = records(lines, self._profile.separator, self._profile.quote)
            headers: list[str] | None = None
            sample: list[tuple[str, ...]] = []
            for line, cells in itertools.islice(rows, self._profile.header_row + SAMPLE_ROWS):
                if line == self._profile.header_row:
                    headers = cells
                    if cells and len(cells) > self._most_columns:
                        break  # headers.columns_of says so
                elif line > self._profile.header_row and cells and not is_blank(cells):
                    sample.append(tuple(cells))
        if not headers or is_blank(headers):
            raise FileHeld(
                "held",
                where=f"{self._where}, line {self._profile.header_row}",
                found="an empty file" if not self._facts.bytes else "no headers",
                expected="a line of headers and rows below it",
                next="send the file again",
                code="no_rows",
            )
        return Look(
            tuple(headers),
            tuple(sample),
            self._facts.encoding.removesuffix("-sig"),
            address=received.address_at(self._facts.address_line),
            spread=self._spread(len(headers)) if len(sample) >= SAMPLE_ROWS else (),
        )

    def _spread(self, width: int) -> tuple[tuple[str, ...], ...]:
        """Whole rows out of the survey's extracts. A cell with a line end in it does not have the header's fields."""
        lines = decoding.lines_of_extracts(self._facts)
        rows = records(lines, self._profile.separator, self._profile.quote)
        return tuple(tuple(cells) for _, cells in rows if cells and len(cells) == width)

    def plain_lines(self, path: Path, places: Mapping[str, int], width: int) -> PlainLines | None:
        """What the fast way needs to try this file, together with others; None where it cannot."""
        facts = self._facts
        if not (facts.is_ready and facts.has_plain_line_ends):
            return None
        return delimited_fast.plain_lines(path, self._profile, places, width, lines=facts.lines)

    def read(self, store: Store, path: Path, places: Mapping[str, int], width: int, spool: Path) -> None:
        """Fill `received` and `broken_line`; `spool` is a file this may write and the caller removes."""
        facts, profile = self._facts, self._profile
        plain = self.plain_lines(path, places, width)
        if not facts.is_ready:
            plain = self._spooled(path, places, width, spool)
        if plain is not None and delimited_fast.read(store, {received.current_place(store): plain}):
            return
        delimited_tolerant.read(
            store,
            path,
            profile,
            places,
            width,
            encoding=facts.encoding,
            where=self._where,
            most_characters=self._most,
        )

    def _spooled(self, path: Path, places: Mapping[str, int], width: int, spool: Path) -> PlainLines | None:
        decoding.spool_as_utf8(path, self._facts.encoding, spool, where=self._where)
        again = decoding.survey(
            spool,
            where=self._where,
            encoding="utf-8",
            most_bytes=1 << 62,
            most_rows=1 << 62,
            most_characters=self._most,
        )
        return delimited_fast.plain_lines(spool, self._profile, places, width, lines=again.lines)
