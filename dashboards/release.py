"""Read a release folder: release.json and data/*.parquet, and nothing beyond them."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import polars as pl

from dashboards.catalogue import FILE, SOURCE, Catalogue, read_catalogue

ALL_SITES = ""  # the key that stands for all sites together
SITE_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")  # a site's id becomes a file name: nothing else may

T = TypeVar("T")
FACTS = (
    "programme", "as_of", "software", "settings_sha256", "periods", "sites", "bandings", "measures", "age_groups",
    "percentiles", "counts", "written", "checks", "tables", "disclosure",
)  # fmt: skip


class ReleaseUnreadable(Exception):
    """The folder is not a complete release. Same shape as every message: what, where, found, expected, next."""

    def __init__(
        self,
        what: str,
        *,
        where: str,
        found: str,
        expected: str,
        next: str = "publish the release again; no page was written",
    ):
        super().__init__(f"{what}  {where}\n      found {found}; expected {expected}\n      next: {next}")


@dataclass(frozen=True)
class Release:
    """What a release says about itself, and its tables on request."""

    folder: Path
    facts: dict[str, Any]
    _once: dict[tuple[Any, ...], Any] = field(default_factory=dict, repr=False, compare=False)

    def once(self, make: Callable[..., T], *arguments: str) -> T:
        """What `make` gives of this release: several pages ask for it, and it is worked out for the first alone."""
        key = (make, *arguments)
        if key not in self._once:
            self._once[key] = make(self, *arguments)
        return self._once[key]

    def has(self, table: str) -> bool:
        """Whether release.json lists the table with any rows: a file that it does not list is no part of it."""
        return any(listed["name"] == table and listed["rows"] for listed in self.facts["tables"])

    @cached_property
    def kinds(self) -> dict[str, str]:
        """Site id → what kind of place it is."""
        return {site["id"]: site.get("kind", "other") for site in self.facts["sites"]}

    def file_of(self, table: str) -> Path:
        return self.folder / "data" / f"{table}.parquet"

    def scan(self, table: str) -> pl.LazyFrame:
        """The rows of one table, with `site` "" for all sites where the table has sites."""
        rows = pl.scan_parquet(self.file_of(table), glob=False)
        if "site" not in rows.collect_schema().names():
            return rows
        return rows.with_columns(pl.col("site").fill_null(ALL_SITES))

    def rows(self, table: str) -> pl.DataFrame:
        """All of `scan`, read once: for a small table that several pages take their rows from."""
        return self.once(_rows, table)

    def overall(self, table: str) -> pl.DataFrame:
        """The rows of all sites together as the file has them, without a site, read once: so told the rows of hundreds
        of sites are left out while the file is read, and not after."""
        return self.once(_overall, table)

    @cached_property
    def site_names(self) -> dict[str, str]:
        """Site id → name, in the order of names: sites are never put in the order of their figures."""
        sites = sorted(self.facts["sites"], key=lambda site: (site["name"].casefold(), site["id"]))
        return {site["id"]: site["name"] for site in sites}

    @cached_property
    def bandings(self) -> dict[str, dict[str, Any]]:
        return {banding["name"]: banding for banding in self.facts["bandings"]}

    @cached_property
    def measures(self) -> dict[str, dict[str, Any]]:
        return {measure["name"]: measure for measure in self.facts["measures"]}

    @cached_property
    def catalogue(self) -> Catalogue:
        """The language of its pages: of language.po, where the release has a language besides English."""
        is_english = self.facts["written"].get("language", SOURCE) == SOURCE
        return Catalogue() if is_english else read_catalogue(self.folder / FILE)

    @property
    def periods(self) -> list[str]:
        return self.facts["periods"]

    @property
    def age_groups(self) -> list[dict[str, Any]]:
        return self.facts["age_groups"]


def _rows(release: Release, table: str) -> pl.DataFrame:
    return release.scan(table).collect()


def _overall(release: Release, table: str) -> pl.DataFrame:
    return pl.scan_parquet(release.file_of(table), glob=False).filter(pl.col("site").is_null()).collect()


def read_release(folder: Path) -> Release:
    """As read_facts, with the words of the release in its language."""
    release = read_facts(folder)
    return Release(folder, words_of_release(release.facts, release.catalogue.of_release))


def read_facts(folder: Path) -> Release:
    """Read release.json and see that the tables it names are there.

    Errors   ReleaseUnreadable for a missing or broken release.json, a table it names that is missing, or a
             site id that could not be a file name; CatalogueUnreadable for a language.po that cannot be used.
    """
    path = folder / "release.json"
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise ReleaseUnreadable(
            "no release", where=str(path), found="no such file", expected="release.json beside data/"
        ) from error
    except ValueError as error:
        raise ReleaseUnreadable(
            "broken release", where=str(path), found=str(error), expected="JSON"
        ) from error
    release = Release(folder, facts)
    _require(path, [f"no {fact}" for fact in FACTS if fact not in facts], "every fact a page shows")
    _require(
        folder / "data",
        [
            f"no {table['name']}.parquet"
            for table in facts["tables"]
            if not release.file_of(table["name"]).is_file()
        ],
        "the tables that release.json names",
    )
    _require(
        path,
        [repr(site["id"]) for site in facts["sites"] if not SITE_ID.fullmatch(site["id"])],
        "site ids of small letters, digits and hyphens",
    )
    return release


SPOKEN = ("bandings", "measures", "checks", "tables", "disclosure")  # facts with words for readers
WORDS = {"title", "caution", "rule", "source", "explanation", "why", "description", "holds_for"}


def words_of_release(facts: dict[str, Any], told: Callable[[str], str]) -> dict[str, Any]:
    """The facts with each of their words put as `told` puts it. Names of the programme and its sites are no words."""
    spoken = {name: _told(facts[name], told) for name in SPOKEN}
    if noise := spoken["disclosure"].get("noise"):
        spoken["disclosure"]["noise"] = {**noise, "unit": told(noise["unit"])}
    return facts | spoken


def _is_word(key: str, value: Any) -> bool:
    """A unit can be a code (kg/m2), or said in words (unit of the measure)."""
    return isinstance(value, str) and (key in WORDS or (key == "unit" and " " in value))


def _told(part: Any, told: Callable[[str], str]) -> Any:
    if isinstance(part, dict):
        return {
            key: told(value) if _is_word(key, value) else _told(value, told)
            for key, value in part.items()
        }
    return [_told(one, told) for one in part] if isinstance(part, list) else part


def _require(where: Path, broken: list[str], expected: str) -> None:
    if broken:
        raise ReleaseUnreadable(
            "broken release", where=str(where), found=", ".join(broken), expected=expected
        )
