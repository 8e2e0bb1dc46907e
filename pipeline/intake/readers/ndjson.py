"""NDJSON: one JSON object a line; a key is a header.

A number keeps its digits as written and takes the profile's decimal sign; true and false become those words; null
and an absent key are missing. A line that is no object, or names a key twice, is a BrokenLine. Keys are gathered
over the whole file before anything is kept, since any line may carry one more.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from pipeline.faults import FileHeld
from pipeline.intake import received
from pipeline.intake.received import BrokenLine, Look
from pipeline.programme import Limits, Profile
from pipeline.seal import decoding
from pipeline.seal.json_lines import pairs_of, text_of_value
from pipeline.store import Store

_BATCH = 20_000
_SAMPLE_ROWS = 200
_KEY = re.compile(r'"((?:[^"\\]|\\.)*)"\s*:')


class NdjsonReader:
    """One NDJSON file."""

    def __init__(self, path: Path, profile: Profile, limits: Limits, *, where: str):
        self._profile, self._where, self._limits = profile, where, limits
        self._facts = decoding.survey(
            path,
            where=where,
            encoding=profile.encoding,
            most_bytes=limits.unpacked_bytes,
            most_rows=limits.rows,
            most_characters=limits.line_characters,
        )
        self._keys: list[str] = []

    def look(self, path: Path) -> Look:
        """Errors   FileHeld for a file without a single object, and for one JSON array instead of lines."""
        keys: dict[str, None] = {}
        first: list[dict[str, Any]] = []
        seen: set[tuple[str, ...]] = set()
        for line, content in self._lines(path):
            likeness = tuple(_KEY.findall(content))  # cheaper than reading the object: most lines are alike
            if likeness in seen and len(first) >= _SAMPLE_ROWS:
                continue
            seen.add(likeness)
            pairs = pairs_of(content)
            if pairs is None and line == 1:
                self._require_no_array(path)
            keys.update(dict.fromkeys(key for key, _ in pairs or ()))
            if len(keys) > self._limits.columns:
                break  # headers.columns_of says so
            if pairs and len(first) < _SAMPLE_ROWS:
                first.append(dict(pairs))
        if not keys:
            raise FileHeld(
                "held",
                where=self._where,
                found="no JSON object",
                expected="one JSON object a line",
                next="send the file again",
                code="no_rows",
            )
        self._keys = list(keys)
        sample = self._rows_of(first)
        return Look(
            tuple(keys),
            sample,
            self._facts.encoding.removesuffix("-sig"),
            address=received.address_at(self._facts.address_line),
            spread=self._spread() if len(first) >= _SAMPLE_ROWS else (),
        )

    def _spread(self) -> tuple[tuple[str, ...], ...]:
        found = map(pairs_of, decoding.lines_of_extracts(self._facts))
        return self._rows_of(dict(pairs) for pairs in found if pairs)

    def _rows_of(self, objects: Iterable[Mapping[str, Any]]) -> tuple[tuple[str, ...], ...]:
        """Each object's values in the order of the keys, as text."""
        decimal = self._profile.decimal
        return tuple(
            tuple(text_of_value(values.get(key), decimal) or "" for key in self._keys) for values in objects
        )

    def read(self, store: Store, path: Path, places: Mapping[str, int], width: int, spool: Path) -> None:
        received.begin(store)
        keys = {field: self._keys[place] for field, place in places.items()}
        order = {field: place for place, field in enumerate(keys)}
        lines: list[int] = []
        rows: list[list[str | None]] = []
        broken: list[BrokenLine] = []
        for line, content in self._lines(path):
            pairs = pairs_of(content)
            row: list[str | None] = [None] * len(keys)
            values = dict(pairs or ())
            if pairs is None:
                broken.append(
                    BrokenLine(line, "row_cut_off", "a line that is no JSON object", "one JSON object")
                )
            elif len(values) < len(pairs):
                broken.append(BrokenLine(line, "too_many_fields", "a key twice", "each key once"))
            else:
                row = [text_of_value(values.get(key), self._profile.decimal) for key in keys.values()]
                if not any(value is not None and str(value).strip() for value in values.values()):
                    continue
            lines.append(line)
            rows.append(row)
            if len(lines) >= _BATCH:
                received.append(store, lines, rows, order)
                lines, rows = [], []
        received.append(store, lines, rows, order)
        received.append_broken(store, broken)

    def _lines(self, path: Path) -> Iterator[tuple[int, str]]:
        """(physical line, its text) of every line that is not blank."""
        with decoding.text_of(path, self._facts.encoding, where=self._where) as text:
            lines = decoding.lines_of(text, where=self._where, most=self._limits.line_characters)
            for line, content in enumerate(lines, start=1):
                if content.strip():
                    yield line, content

    def _require_no_array(self, path: Path) -> None:
        with decoding.text_of(path, self._facts.encoding, where=self._where) as text:
            if text.read(64).lstrip("\ufeff \t\r\n").startswith("["):
                raise FileHeld(
                    "held",
                    where=self._where,
                    found="one JSON array",
                    expected="one JSON object a line",
                    next="export as NDJSON (JSON Lines)",
                    code="other_format",
                )
