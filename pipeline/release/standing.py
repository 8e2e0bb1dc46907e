"""The publication that stands: what it stood on when it was made, and whether one made now would say anything else.

What it stands on is written to store/publication.json once `latest` points at it, with the digest of its files, so
that a page which somebody changed or deleted since is found. It lies in the store and not beside the pages: with a
digest of the results before disclosure control, whoever guesses a withheld count could see whether the guess is right.
It may be deleted at any time; the next run then publishes.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.durable import write_whole
from pipeline.programme import Programme
from pipeline.release.arrival_shown import arrival_shown
from pipeline.release.basis import Basis
from pipeline.release.versions import content_digest, standing_version

FILE = "publication.json"
FORM = 1


@dataclass(frozen=True)
class Standing:
    """A publication whose files are as they were written."""

    folder: Path
    basis: Basis
    as_of: date
    sites: list[dict[str, Any]]  # as release.json has them

    @property
    def assets(self) -> Path:
        return self.folder / "assets"

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
    """The publication that `latest` points at; None where there is none, or it is not as it was written."""
    try:
        kept = json.loads((programme.store / FILE).read_text(encoding="utf-8"))
        folder = standing_version(programme.published)
        if kept["form"] != FORM or folder is None or folder.name != kept["version"]:
            return None
        if content_digest(folder) != kept["content"]:
            return None
        facts = json.loads((folder / "release.json").read_text(encoding="utf-8"))
        return Standing(folder, kept["basis"], date.fromisoformat(facts["as_of"]), facts["sites"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def remember(programme: Programme, basis: Basis) -> None:
    """Write down what the publication that `latest` points at stands on; on disk before this returns."""
    folder = standing_version(programme.published)
    if folder is None:
        return
    kept = {"form": FORM, "version": folder.name, "content": content_digest(folder), "basis": basis}
    content = json.dumps(kept, sort_keys=True, indent=1) + "\n"
    write_whole(programme.store / FILE, content.encode(), mode=0o600)
