"""The language of a programme's pages: its catalogue is whole before a run begins, and what it lacks is told after."""

from __future__ import annotations

from pathlib import Path

import dashboards
from pipeline.faults import Fault, SettingsFault
from pipeline.programme import Programme


def require_language(programme: Programme) -> None:
    """See that the pages can be made in the language of the settings.

    Errors   SettingsFault where its catalogue is missing or cannot be used.
    """
    path = programme.language_file
    if path is None:
        return
    language = programme.settings.language
    if not path.is_file():
        raise SettingsFault(
            f"no translations for language {language}",
            where=str(path),
            found="no such file",
            expected="a gettext catalogue (PO)",
            next=f"evenbeam translate PROGRAMME.toml {language} writes it, to be filled in",
        )
    try:
        dashboards.read_catalogue(path)
    except dashboards.CatalogueUnreadable as error:
        raise SettingsFault(
            "translations that cannot be used",
            where=str(path),
            found=error.found,
            expected=error.expected,
            next="correct it and run again",
        ) from error


def untranslated(programme: Programme) -> tuple[str, ...]:
    """What to say, once a run, of texts of the latest pages that stand in English for want of a translation."""
    if programme.language_file is None:
        return ()
    found = dashboards.still_english(programme.published / "latest")
    if found is None or not found[1]:
        return ()
    language, missing, texts = found
    return (
        f"note  language {language}: {missing} of {texts} texts are not translated and stand in English\n"
        f"      next: evenbeam translate PROGRAMME.toml {language} puts them into languages/{language}.po",
    )


def write_translations(settings: Path, language: str) -> tuple[Path, int, int]:
    """Write or renew a language's catalogue for the latest pages: (its path, texts without a translation, texts).

    Errors   Fault before the first run; SettingsFault for a file there that cannot be used.
    """
    programme = Programme.read(settings)
    latest = programme.published / "latest"
    if not (latest / "release.json").is_file():
        raise Fault(
            "no pages yet",
            where=str(latest),
            found="no release",
            expected="pages whose words can be listed",
            next="evenbeam run PROGRAMME.toml",
        )
    path = programme.language_file_of(language)
    try:
        missing, texts = dashboards.write_catalogue(latest, path, language)
    except dashboards.CatalogueUnreadable as error:
        raise SettingsFault(
            "translations that cannot be used", where=str(path), found=error.found, expected=error.expected
        ) from error
    return path, missing, texts
