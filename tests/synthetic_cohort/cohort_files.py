"""The demo's files read back without the pipeline: each row as {field: value}, under its physical line.

Values are what stands in the file: texts for csv and tsv, typed for the others. Independent of pipeline.intake on
purpose: the generator is checked here, not the reader.
"""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import fastexcel
import polars as pl

from pipeline.programme import Profile, Programme
from synthetic_cohort.generate import generate


@dataclass(frozen=True)
class Demo:
    folder: Path

    @classmethod
    def made(cls, folder: Path, **settings) -> Demo:
        generate(folder, **settings)
        return cls(folder)

    def table(self, name: str) -> pl.DataFrame:
        path = "readings/part-*.parquet" if name == "readings" else f"{name}.parquet"
        return pl.read_parquet(self.folder / "truth" / path)

    @cached_property
    def programme(self) -> Programme:
        return Programme.read(self.folder)

    @cached_property
    def rows(self) -> dict[tuple[str, str, int], dict]:
        """(site, file, line) → the row's fields, for every file that holds rows."""
        found = {}
        for site, profile in self.programme.profiles.items():
            for path in sorted((self.programme.inbox / site).iterdir()):
                for line, row in rows_of_file(path, profile).items():
                    found[site, path.name, line] = row
        return found


def text_of_file(path: Path, encoding: str | None) -> str:
    content = path.read_bytes()
    if path.suffix == ".gz":
        content = gzip.decompress(content)
    return content.decode(encoding or "utf-8-sig")


def rows_of_file(path: Path, profile: Profile) -> dict[int, dict]:
    headers = {name: column.header for name, column in profile.columns.items()}
    if profile.format == "parquet":
        records = pl.read_parquet(path).to_dicts()
        return {i: _fields(record, headers) for i, record in enumerate(records, 1)}
    if profile.format == "xlsx":
        sheet = fastexcel.read_excel(path).load_sheet(profile.sheet, header_row=profile.header_row - 1)
        records = pl.DataFrame(sheet).to_dicts()
        return {i: _fields(record, headers) for i, record in enumerate(records, profile.header_row + 1)}
    lines = text_of_file(path, profile.encoding).splitlines()
    if profile.format == "ndjson":
        return {i: _fields(_json(line), headers) for i, line in enumerate(lines, 1)}
    if len(lines) < profile.header_row:
        return {}
    names = lines[profile.header_row - 1].split(profile.separator)
    return {
        i: _fields(dict(zip(names, line.split(profile.separator), strict=False)), headers)
        for i, line in enumerate(lines[profile.header_row :], profile.header_row + 1)
    }


def _fields(record: dict, headers: dict[str, str]) -> dict:
    return {name: record.get(header) for name, header in headers.items()}


def _json(line: str) -> dict:
    try:
        return json.loads(line)
    except json.JSONDecodeError:  # the half of a line that is left of a file cut off
        return {}


def number(value, profile: Profile) -> float | None:
    """A plain number as a site writes it; None for a missing one."""
    if isinstance(value, str):
        if value in profile.missing:
            return None
        return float(value.replace(profile.thousands or "\0", "").replace(profile.decimal, "."))
    return None if value is None else float(value)
