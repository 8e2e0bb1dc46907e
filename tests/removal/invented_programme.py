"""A programme of invented people at four sites, each with files in another format, run from the command line."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from pathlib import Path

import polars as pl
from xlsxwriter import Workbook

from pipeline.cli import main
from pipeline.seal.pseudonym import pseudonym_of
from pipeline.store import Store

HEADER = ("Member", "Date", "Sex", "Age", "Ht", "Wt", "Fat")
PERSON = "7345019"  # who withdraws: at every site, with readings, corrections, repeats and held rows
FORMATS = {"north-quay": "csv", "east-pier": "xlsx", "mill-lane": "parquet", "gull-yard": "ndjson"}


def profile(form: str, scope: str = "programme") -> str:
    return f"""\
format = "{form}"
[columns]
participant = {{ header = "Member", scope = "{scope}" }}
measured_on = {{ header = "Date" }}
sex = {{ header = "Sex" }}
age = {{ header = "Age" }}
height = {{ header = "Ht" }}
weight = {{ header = "Wt" }}
body_fat_percent = {{ header = "Fat" }}
"""


def others(first: int, day: str, n: int = 40) -> list[tuple[str, ...]]:
    """Readings of so many other people on one day, the same ones whoever asks."""
    return [
        (str(first + i), day, "FM"[i % 2], str(25 + i % 40), "170.0", f"{60 + i % 30}.5", f"{20 + i % 12}.0")
        for i in range(n)
    ]


@dataclass
class Invented:
    folder: Path

    def settings(self, more: str = "") -> None:
        sites = "".join(
            f'[[site]]\nid = "{site}"\nname = "{site}"\nprofile = "{site}.toml"\n' for site in FORMATS
        )
        (self.folder / "programme.toml").write_text(f'name = "Harbour District"\n{more}\n{sites}')

    def put(self, site: str, name: str, rows: list[tuple[str, ...]], *, broken: str = "") -> Path:
        path = self.folder / "inbox" / site / name
        path.parent.mkdir(parents=True, exist_ok=True)
        form = FORMATS[site]
        if form == "csv":
            lines = [",".join(row) for row in (HEADER, *rows)]
            path.write_bytes(
                ("\r\n".join([*lines, *([broken] if broken else [])]) + "\r\n").encode("utf-8-sig")
            )
        elif form == "ndjson":
            lines = [json.dumps(dict(zip(HEADER, row, strict=True))) for row in rows]
            path.write_bytes(gzip.compress(("\n".join(lines) + "\n").encode()))
        elif form == "parquet":
            pl.DataFrame(rows, schema=list(HEADER), orient="row").write_parquet(path)
        else:
            with Workbook(path) as book:
                page = book.add_worksheet("Readings")
                for place, row in enumerate((HEADER, *rows)):
                    for column, cell in enumerate(row):
                        if place and column >= 3:
                            page.write_number(place, column, float(cell))
                        else:
                            page.write_string(place, column, cell)
        return path

    def run(self, *arguments: str) -> int:
        return main([*arguments])

    @property
    def store(self) -> Path:
        return self.folder / "store"

    def opened(self) -> Store:
        return Store.open(self.store / "evenbeam.duckdb", read_only=True)

    def pseudonym(self, number: str = PERSON) -> str:
        key = bytes.fromhex((self.store / "pseudonym.key").read_text().strip())
        return pseudonym_of(key, "", number)

    def accounts(self) -> list[tuple]:
        """(site/name, read, accepted, held, duplicate, superseded, withdrawn, expired) of every file."""
        with self.opened() as store:
            return store.rows(
                "select site || '/' || name, rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded, "
                "rows_withdrawn, rows_expired from ledger.file order by site, name"
            )

    def counts(self, *columns: str) -> tuple:
        with self.opened() as store:
            return store.rows(f"select {', '.join(columns)}")[0]

    def is_anywhere(self, text: str) -> list[str]:
        """The files of the store, plain or unpacked, in whose bytes a text stands."""
        found = []
        for path in sorted(self.store.rglob("*")):
            if path.is_file():
                content = path.read_bytes()
                shown = [content]
                if content[:2] == b"\x1f\x8b":
                    shown.append(gzip.decompress(content))
                if content[:4] == b"PK\x03\x04":
                    import zipfile

                    with zipfile.ZipFile(path) as book:
                        shown += [book.read(name) for name in book.namelist()]
                if content[:4] == b"PAR1":
                    shown.append(pl.read_parquet(path).write_csv().encode())
                if any(text.encode() in one or text.encode("utf-16-le") in one for one in shown):
                    found.append(path.relative_to(self.store).as_posix())
        return found


def of_person(*weights: str, day: str = "2025-02-03", sex: str = "F") -> list[tuple[str, ...]]:
    return [(PERSON, day, sex, "41", "166.0", weight, "31.0") for weight in weights]


def invented(folder: Path, more: str = "") -> Invented:
    """Two quarters; the person has an accepted, a duplicate, a superseded and a held row, and one broken line."""
    made = Invented(folder)
    folder.mkdir(parents=True, exist_ok=True)
    made.settings(more)
    for site, form in FORMATS.items():
        (folder / f"{site}.toml").write_text(profile(form))
    made.put(
        "north-quay",
        "a.csv",
        [
            *others(1000, "2025-02-03"),
            *of_person("70.0", "70.0", "71.0"),
            *of_person("900.0", day="2025-03-01"),
        ],
        broken=f"{PERSON},2025-03-02,F",
    )
    for n, site in enumerate(("east-pier", "mill-lane", "gull-yard"), start=2):
        made.put(
            site,
            f"a.{FORMATS[site]}",
            [
                *others(1000 * n, "2025-02-10"),
                *of_person(f"70.{n}", day=f"2025-02-1{n}"),
                *others(1000 * n, "2025-05-10"),
                *of_person(f"69.{n}", day=f"2025-05-1{n}"),
            ],
        )
    return made
