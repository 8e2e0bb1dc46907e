"""The file that a translator fills in: every text of a release's pages beside its English, and what is done of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po, write_po

from dashboards.catalogue import FILE, RELEASE, Catalogue, read_catalogue
from dashboards.english import ENGLISH
from dashboards.methods_named import shape_of
from dashboards.release import Release, read_facts, words_of_release

ONE = ".one"
QUOTED = ("method", "why")  # columns of tables whose texts the pages quote
HEAD = """\
# The words of the pages, the report and the workbook.
# Keep braces such as {period}: they are filled in. In words marked "release" keep each #: it stands for a number.
# What is left empty, or marked fuzzy, stands in English."""


@dataclass(frozen=True)
class Text:
    """One text: its name (RELEASE for the words of a release), its English, and its English plural if it has one."""

    name: str
    english: str
    many: str | None = None


def texts_of(release: Release) -> list[Text]:
    """Every text that the pages of a release can show, in the order of english.py; each once."""
    found = [
        Text(name, ENGLISH.get(name + ONE, english), english if name + ONE in ENGLISH else None)
        for name, english in ENGLISH.items()
        if not name.endswith(ONE)
    ]
    of_release: dict[str, None] = {}
    words_of_release(release.facts, lambda words: of_release.setdefault(words) or words)
    of_release |= dict.fromkeys(_quoted(release))
    return found + [Text(RELEASE, words) for words in of_release if words]


def _quoted(release: Release) -> Iterator[str]:
    """Methods, reasons and fields of the tables."""
    for table in release.facts["tables"]:
        if not release.has(table["name"]):
            continue
        rows = release.scan(table["name"])
        names = rows.collect_schema().names()
        for column in QUOTED:
            if column in names:
                for text in sorted(_values(rows, column)):
                    yield shape_of(text.rstrip(".") if column == "why" else text)
        if table["name"] == "retention_balance":
            yield from sorted({shape_of(level) for level in _values(rows, "level")})
        if table["name"] == "data_quality":
            fields = {item.partition(":")[2] for item in _values(rows, "item")} - {""}
            yield from sorted(field.replace("_", " ") for field in fields)


def _values(rows: pl.LazyFrame, column: str) -> list[str]:
    return rows.select(pl.col(column).drop_nulls().unique()).collect()[column].to_list()


def untranslated(texts: Iterable[Text], language: Catalogue) -> list[Text]:
    return [text for text in texts if (text.name, text.english) not in language.texts]


def still_english(release_folder: Path) -> tuple[str, int, int] | None:
    """(language, texts without a translation, texts) of a release in another language; None of one in English."""
    if not (release_folder / FILE).is_file():
        return None
    release = read_facts(release_folder)
    texts = texts_of(release)
    return release.catalogue.language, len(untranslated(texts, release.catalogue)), len(texts)


def write_catalogue(release_folder: Path, path: Path, language: str) -> tuple[int, int]:
    """Write a language's file for the pages of a release, or renew it: (texts without a translation, texts).

    What was translated stays. Where its English has changed since, it is marked fuzzy and does not count until
    somebody has looked at it and has taken the mark away.

    Errors   CatalogueUnreadable for a file that stands there and cannot be used; ReleaseUnreadable.
    """
    texts = texts_of(read_facts(release_folder))
    earlier = _messages(path) if path.exists() else {}
    made = Catalog(
        locale=language.replace("-", "_"), header_comment=HEAD, project="evenbeam", version="pages",
        msgid_bugs_address="", last_translator="", language_team="", fuzzy=False,
    )  # fmt: skip
    for text in texts:
        message = made.add((text.english, text.many) if text.many else text.english, context=text.name)
        before = earlier.get((text.name, text.english)) or earlier.get((text.name, ""))
        if before is not None and any(before.string) and before.pluralizable == message.pluralizable:
            message.string = before.string
            if before.fuzzy or _english(before) != text.english:
                message.flags.add("fuzzy")
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        write_po(file, made, width=0)
    return len(untranslated(texts, read_catalogue(path))), len(texts)


def _messages(path: Path) -> dict[tuple[str, str], Message]:
    """The messages of a file by name and English, and those with a name of their own also by name alone."""
    read_catalogue(path)
    with path.open("rb") as file:
        messages = [message for message in read_po(file) if message.id and message.context]
    return {(m.context, ""): m for m in messages if m.context != RELEASE} | {
        (m.context, _english(m)): m for m in messages
    }


def _english(message: Message) -> str:
    return message.id if isinstance(message.id, str) else message.id[0]

