"""The publication that stands: what it stood on when it was made, and whether one made now would say anything else.

What it stands on is written to store/publication.json once `latest` points at it, with what is in its files, so that a
page which somebody changed or deleted since is found. Every run looks at every file, but reads only those that look
changed: pipeline/release/contents.py tells what that finds and what not. (`evenbeam verify` reads every byte of frozen
releases.) It lies in the store and not beside the pages: with a digest of the results before disclosure control,
whoever guesses a withheld count could see whether the guess is right. It may be deleted at any time; the next run then
publishes. So may store/publication_runs.parquet beside it, which tells how the periods of a table lie in its CSV file.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.durable import write_whole
from pipeline.programme import Programme
from pipeline.release.arrival_shown import arrival_shown
from pipeline.release.basis import Basis
from pipeline.release.contents import Content, Contents, contents_of
from pipeline.release.csv_runs import CsvRuns
from pipeline.release.takeover import Makings, Takeover, runs_unpacked
from pipeline.release.versions import standing_version

FILE = "publication.json"
FILE_OF_RUNS = "publication_runs.parquet"
FORM = 3
_UNREADABLE = (OSError, ValueError, KeyError, TypeError, AttributeError)


@dataclass(frozen=True)
class Standing:
    """A publication whose files are as they were written."""

    folder: Path
    basis: Basis
    as_of: date
    sites: list[dict[str, Any]]  # as release.json has them
    contents: Contents
    made_of: Mapping[str, str]  # table → as Makings has it
    runs: Path  # the file that tells how periods lie in CSV files
    runs_sha256: str

    @property
    def assets(self) -> Path:
        return self.folder / "assets"

    def takeover(self) -> Takeover:
        """What of it a new publication can take over."""
        data = {name.removeprefix("data/"): one for name, one in self.contents.items() if name.startswith("data/")}
        return Takeover(self.folder / "data", data, Makings(self.made_of, self._runs()))

    def _runs(self) -> dict[str, CsvRuns]:
        try:
            content = self.runs.read_bytes()
            return runs_unpacked(content) if hashlib.sha256(content).hexdigest() == self.runs_sha256 else {}
        except OSError:
            return {}

    def says_all(self, basis: Basis, as_of: date, *, is_day_given: bool) -> bool:
        """Would a publication on this basis, made on this day, say nothing that this one does not?

        A day that somebody gave stands on every page, so it must be the same. The machine's own is only the day on
        which the pages were made, and may be later, as long as every site is as late as they say.
        """
        if basis != self.basis or as_of < self.as_of or (is_day_given and as_of != self.as_of):
            return False
        return all(
            site.get("arrival") == arrival_shown(site.get("expected"), site.get("last_period"), as_of)
            for site in self.sites
        )


def read_standing(programme: Programme) -> Standing | None:
    """The publication that `latest` points at; None where there is none, or it is not as it was written.

    Where its files only look changed (copied back from a backup, say) and are as they were written, how they look now
    is written down, so that the next run need not read them again.
    """
    try:
        folder, kept, known = _written_down(programme)
        found = contents_of(folder, known)
        if _hashes(found) != _hashes(known):
            return None
        facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
        standing = Standing(
            folder, kept["basis"], date.fromisoformat(facts["as_of"]), facts["sites"], found, kept["made_of"],
            programme.store / FILE_OF_RUNS, kept["runs"],
        )  # fmt: skip
    except _UNREADABLE:
        return None
    if found != known:
        _write_down(programme, found, kept)
    return standing


def changed_files(programme: Programme) -> list[str]:
    """The files that somebody changed, added or took away since `latest` was written, by their paths."""
    try:
        folder, _, known = _written_down(programme)
        was, now = _hashes(known), _hashes(contents_of(folder, known))
    except _UNREADABLE:
        return []
    return sorted(name for name in was.keys() | now.keys() if was.get(name) != now.get(name))


def remember(
    programme: Programme, basis: Basis, known: Contents | None = None, makings: Makings | None = None
) -> None:
    """Write down what the publication that `latest` points at stands on; on disk before this returns.

    `known`: what is in its files, as make_latest tells. `makings`: what its tables were made of, for the next one to
    take over; nothing of it unless given.
    """
    folder = standing_version(programme.published)
    if folder is None:
        return
    makings = makings or Makings()
    runs = makings.runs_packed()
    write_whole(programme.store / FILE_OF_RUNS, runs, mode=0o600)
    kept = {
        "version": folder.name,
        "basis": basis,
        "made_of": dict(makings.made_of),
        "runs": hashlib.sha256(runs).hexdigest(),
    }
    _write_down(programme, contents_of(folder, known), kept)


def _written_down(programme: Programme) -> tuple[Path, dict[str, Any], dict[str, Content]]:
    """The folder that `latest` points at, what is written down of it, and its files as they were written.

    Errors   one of _UNREADABLE where nothing is written down of it.
    """
    kept = json.loads((programme.store / FILE).read_text(encoding="utf-8"))
    folder = standing_version(programme.published)
    if kept["form"] != FORM or folder is None or folder.name != kept["version"]:
        raise ValueError("another publication")
    return folder, kept, {name: Content(*told) for name, told in kept["files"].items()}


def _hashes(contents: Contents) -> dict[str, str]:
    return {name: content.sha256 for name, content in contents.items()}


def _write_down(programme: Programme, contents: Contents, kept: dict[str, Any]) -> None:
    files = {name: content.as_json() for name, content in contents.items()}
    content = json.dumps(kept | {"form": FORM, "files": files}, sort_keys=True) + "\n"
    write_whole(programme.store / FILE, content.encode(), mode=0o600)
