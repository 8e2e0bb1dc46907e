"""A language of the pages: translations of a gettext catalogue (PO) laid over the English of english.ENGLISH.

A message's context is the name of its text, or RELEASE for words that come with a release (titles of bands, what a
check means, methods), which have no name and are known by their English. A message that is missing, marked fuzzy, or
made for other English than today's stands in English.
"""

from __future__ import annotations

import gettext
import string
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path

from babel.messages.catalog import Message
from babel.messages.pofile import PoFileError, read_po

FILE = "language.po"  # in a release folder, beside release.json
RELEASE = "release"
SOURCE = "en"


class CatalogueUnreadable(Exception):
    """The catalogue cannot be used. Same shape as every message: what, where, found, expected, next."""

    def __init__(self, where: Path, found: str, expected: str):
        self.where, self.found, self.expected = where, found, expected
        super().__init__(
            f"language  {where}\n      found {found}; expected {expected}\n      next: correct the file and run again"
        )


@dataclass(frozen=True)
class Catalogue:
    """texts: (context, English) → forms, one unless the message has a plural; `plural` picks a form's place."""

    language: str = SOURCE
    texts: Mapping[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)
    plural: Callable[[int], int] = lambda n: int(n != 1)
    shown: dict[str, str] = field(default_factory=dict, repr=False, compare=False)  # texts by name, once looked up

    def form_of(self, name: str, english: str) -> str:
        return self.texts.get((name, english), (english,))[0]

    def form_for(self, name: str, n: int, many: str, one: str) -> str:
        """The form for `n`. In a catalogue the message of `name` has English `one` with the plural `many`."""
        forms = self.texts.get((name, one))
        if forms is None:
            return one if n == 1 else many
        return forms[min(self.plural(n), len(forms) - 1)]

    def of_release(self, english: str) -> str:
        return self.form_of(RELEASE, english)


_catalogue: ContextVar[Catalogue] = ContextVar("catalogue", default=Catalogue())  # noqa: B039 (it is frozen)


def catalogue() -> Catalogue:
    """The catalogue of the pages that are being made."""
    return _catalogue.get()


@contextmanager
def speaking(chosen: Catalogue) -> Iterator[None]:
    """Within the block texts are those of a catalogue."""
    token = _catalogue.set(chosen)
    try:
        yield
    finally:
        _catalogue.reset(token)


def read_catalogue(path: Path) -> Catalogue:
    """The catalogue of a PO file.

    Errors   CatalogueUnreadable for a file that is no PO, names no language or no rule for its plurals, or holds a
             translation with a placeholder that its English has not.
    """
    try:
        with path.open("rb") as file:
            found = read_po(file, abort_invalid=True)
    except (OSError, PoFileError, UnicodeDecodeError, ValueError) as error:
        raise CatalogueUnreadable(path, str(error), "a gettext catalogue (PO) in UTF-8") from error
    if found.locale is None:
        raise CatalogueUnreadable(path, "no language", "a line such as Language: cy in its head")
    texts = {}
    for message in found:
        if message.id and message.context and not message.fuzzy and all(_strings(message)):
            _require_same_placeholders(path, message)
            texts[message.context, _english(message)] = _strings(message)
    return Catalogue(str(found.locale).replace("_", "-"), texts, gettext.c2py(found.plural_expr))


def _english(message: Message) -> str:
    return message.id if isinstance(message.id, str) else message.id[0]


def _strings(message: Message) -> tuple[str, ...]:
    return (message.string,) if isinstance(message.string, str) else tuple(message.string)


def _placeholders(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def _require_same_placeholders(path: Path, message: Message) -> None:
    """A name that `say` is not given would stop the run in the middle of a page."""
    ids = (message.id,) if isinstance(message.id, str) else message.id
    if message.context == RELEASE:  # of these only the places of numbers are filled in
        if message.id.count("#") != message.string.count("#"):
            raise CatalogueUnreadable(path, f"{message.string}: another number of #", f"as many # as in {message.id}")
        return
    known = set().union(*map(_placeholders, ids))
    for text in _strings(message):
        try:
            strange = _placeholders(text) - known
        except ValueError as error:
            raise CatalogueUnreadable(path, f"{message.context}: {error}", "braces in pairs") from error
        if strange:
            wanted = " ".join(f"{{{name}}}" for name in sorted(known)) or "none"
            raise CatalogueUnreadable(
                path,
                f"{message.context}: {' '.join(f'{{{name}}}' for name in sorted(strange))}",
                f"of placeholders {wanted}",
            )
