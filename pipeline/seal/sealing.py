"""One file's rows → rows that say nothing of who somebody is: only the profile's fields, under the project's names.

Whatever the profile does not name is dropped, identifier or not: intake would not read it. What it names passes only
in the form of its kind (pipeline/seal/cells.py); the member number becomes a pseudonym, the date of birth an age.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime

from pipeline.faults import Fault, printable
from pipeline.seal import moments
from pipeline.seal.addresses import holds_address
from pipeline.seal.ages import age_in_months, age_in_years, born_before
from pipeline.seal.cells import passed
from pipeline.seal.full_names import are_full_names
from pipeline.seal.header_places import places_of
from pipeline.seal.identifier_content import kind_of_content
from pipeline.seal.identifier_headers import kind_of_header
from pipeline.seal.profile import TYPED_FORMATS, SealProfile
from pipeline.seal.pseudonym import pseudonym_of
from pipeline.seal.rows import Cells, Rows

SCOPE = "seal"  # so that a site's pseudonyms are no pseudonyms of a store, were the two keys ever the same
_MOST_TEXTS = 5000  # different names of analysers that are looked through


@dataclass
class Changes:
    """What sealing changed in one file: counts, and headers of what was dropped. Never a value."""

    rows: int = 0
    left_out: int = 0
    first_left_out: int | None = None
    people: int = 0
    ages: int = 0
    without_age: int = 0  # rows whose date of birth or day of measurement cannot be read, or do not fit
    emptied: Counter[str] = field(default_factory=Counter)
    dropped: list[str] = field(default_factory=list)  # as shown: the header and what it announces


class Sealing:
    """Iterate once over `rows`; `changes` is then complete, and `require_harmless_texts` may be asked."""

    def __init__(self, rows: Rows, profile: SealProfile, key: bytes, *, where: str):
        self.changes = Changes()
        self._rows, self._profile, self._key, self._where = rows, profile, key, where
        self._places = places_of(profile.headers, rows.headers, where=where)
        self._pseudonyms: dict[str, str] = {}
        self._texts: set[str] = set()
        used = set(self._places.values())
        self.changes.dropped = [
            _shown(header, place)
            for place, header in enumerate(rows.headers)
            if place not in used or (profile.birth and place == self._places["date_of_birth"])
        ]

    def __iter__(self) -> Iterator[list[str]]:
        fields = self._profile.sealed_fields
        for line, cells in self._rows.rows:
            if cells is None:
                self.changes.left_out += 1
                self.changes.first_left_out = self.changes.first_left_out or line
                continue
            self.changes.rows += 1
            yield [self._age(cells) if self._is_made(name) else self._cell(name, cells) for name in fields]
        self.changes.people = len(self._pseudonyms)

    def require_harmless_texts(self, as_of: date) -> None:
        """Analysers' names are the only free text that passes: they must not be people's.

        Errors   Fault: nothing may be kept of the sealed rows.
        """
        texts = sorted(self._texts)
        kind = kind_of_content(texts, as_of=as_of) or (are_full_names(texts, texts) and "name-like text")
        if kind:
            raise Fault(
                "not sealed",
                where=f"{self._where}, field device",
                found=f"{kind} in the column {printable(self._profile.headers['device'])}",
                expected="names of analysers",
                next="take device out of the profile's [columns]; nothing was written",
            )

    def _is_made(self, name: str) -> bool:
        return name == "age" and self._profile.birth is not None

    def _cell(self, name: str, cells: Cells) -> str:
        found = passed(self._profile, name, cells[self._places[name]] or "")
        if found is None:
            self.changes.emptied[name] += 1
            return ""
        if name == "participant" and found:
            return self._pseudonym(found)
        if name == "device" and found and len(self._texts) < _MOST_TEXTS:
            self._texts.add(found)
        return found

    def _pseudonym(self, number: str) -> str:
        number = unicodedata.normalize("NFC", number)
        if number not in self._pseudonyms:
            self._pseudonyms[number] = pseudonym_of(self._key, SCOPE, number)
        return self._pseudonyms[number]

    def _age(self, cells: Cells) -> str:
        """The age at measurement, "" where it cannot be told; intake then holds the row."""
        profile = self._profile
        born, day = self._born(cells), self._day(cells)
        if born and day:
            is_short = any("%y" in form for form in moments.formats_of(profile.birth.get("format")))
            born = born_before(born, day, is_short_year=is_short)
            if born <= day:
                self.changes.ages += 1
                return str((age_in_months if profile.is_age_in_months else age_in_years)(born, day))
        self.changes.without_age += 1
        return ""

    def _born(self, cells: Cells) -> date | None:
        found = self._moment(cells[self._places["date_of_birth"]], self._profile.birth.get("format"))
        return found.date() if found else None

    def _day(self, cells: Cells) -> date | None:
        if "measured_on" in self._profile.constants:
            found = moments.moment_of(str(self._profile.constants["measured_on"]), (), True)
        else:
            column = self._profile.columns["measured_on"]
            found = self._moment(cells[self._places["measured_on"]], column.get("format"))
        return found.date() if found else None

    def _moment(self, text: str, given: str | list[str] | None) -> datetime | None:
        is_typed = self._profile.format in TYPED_FORMATS
        return moments.moment_of((text or "").strip(), moments.formats_of(given), is_typed)


def _shown(header: str, place: int) -> str:
    """A dropped column as a message may name it: its header, unless that is somebody's value itself."""
    kind = kind_of_header(header)
    name = header.strip()
    if not name or holds_address(name) or sum(char.isdigit() for char in name) > 4:
        name = f"number {place + 1}"
    return f"{printable(name, 40)} ({kind})" if kind else printable(name, 40)
