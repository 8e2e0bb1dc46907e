"""`programme.toml` and the profiles that it names, read into one Programme."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.programme.first_fault import first_fault
from pipeline.programme.profile import Profile
from pipeline.programme.section import Section
from pipeline.programme.settings import ProgrammeSettings, Site
from pipeline.seal.toml_text import read_toml


class Programme:
    """A programme's settings with its folders and the profile of each site."""

    def __init__(self, path: Path, settings: ProgrammeSettings, profiles: dict[str, Profile], sha256: str):
        self.path, self.settings, self.profiles, self.sha256 = path, settings, profiles, sha256
        self.folder = path.parent
        self.inbox = self.folder / "inbox"
        self.store = self.folder / "store"
        self.published = self.folder / "published"

    @property
    def language_file(self) -> Path | None:
        """The translations of the pages' words; None where they are English."""
        return None if self.settings.language == "en" else self.language_file_of(self.settings.language)

    def language_file_of(self, language: str) -> Path:
        return self.folder / "languages" / f"{language}.po"

    @property
    def sites(self) -> dict[str, Site]:
        return {site.id: site for site in self.settings.site}

    @classmethod
    def read(cls, path: Path) -> Programme:
        """Read a settings file and every profile it names.

        Errors   SettingsFault for the first fault found in each file.
        """
        path = path.resolve()
        if path.is_dir():
            path = path / "programme.toml"
        settings = _read(
            path, ProgrammeSettings, "a programme's settings; `evenbeam init` writes a first one"
        )
        digest = hashlib.sha256(path.read_bytes())
        profiles: dict[str, Profile] = {}
        by_file: dict[Path, Profile] = {}
        for site in settings.site:
            where = (path.parent / site.profile).resolve()
            if where not in by_file:
                by_file[where] = read_profile(where)
                digest.update(where.read_bytes())
            profiles[site.id] = by_file[where]
        return cls(path, settings, profiles, digest.hexdigest())


def read_profile(path: Path) -> Profile:
    return _read(path, Profile, "a site's profile; `evenbeam inspect FILE` proposes one")


def _read(path: Path, model: type[Section], what: str) -> Any:
    values = read_toml(path, what)
    try:
        return model.model_validate(values)
    except ValidationError as error:
        raise first_fault(path, model, error) from error
