"""What the user did not expect: one shape for every message, in terminal, log and ledger.

what   where
       found …; expected …
       next: …
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Sequence


def printable(text: object, limit: int = 80) -> str:
    """Received text made safe to show on a terminal and in a log: one line, no control or direction marks.

    A file name or a cell can carry escape sequences that repaint the screen, or characters that turn the
    line's direction round; each stands as its code point instead.
    """
    shown = str(text)
    if not shown.isprintable():
        shown = "".join(char if char.isprintable() else f"\\u{ord(char):04x}" for char in shown)
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"


def printable_first(texts: Sequence[object], most: int = 3) -> str:
    """The first few of many received texts, each as printable gives it."""
    return ", ".join(printable(text) for text in texts[:most]) + (" …" if len(texts) > most else "")


def nearest(word: str, choices: Collection[str]) -> str:
    """ "; did you mean weight?" or the list of choices when nothing is near."""
    close = difflib.get_close_matches(word, list(choices), n=1, cutoff=0.6)
    return f"; did you mean {close[0]}?" if close else f"; choices are {', '.join(choices)}"


class Fault(Exception):
    """Base of everything that is the input's fault, not the program's.

    The command line catches this one type; anything else is a bug and shows its traceback.
    """

    exit_code = 1

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        found: str = "",
        expected: str = "",
        next: str = "",
        code: str = "",
    ):
        super().__init__(what)
        self.what, self.where, self.found, self.expected, self.next = what, where, found, expected, next
        self.code = code  # of a held or refused file: ledger.file.reason_code

    def __str__(self) -> str:
        where, found, expected = (
            printable(said, most) for said, most in ((self.where, 400), (self.found, 400), (self.expected, 1000))
        )
        what = printable(self.what, 200)
        head = f"{what}  {where}" if where else what
        middle = "; ".join(
            part
            for part in (
                f"found {found}" if found else "",
                f"expected {expected}" if expected else "",
            )
            if part
        )
        lines = [head, middle, f"next: {self.next}" if self.next else ""]
        return "\n      ".join(line for line in lines if line)


class SettingsFault(Fault):
    """The programme's settings or a site's profile cannot be used as written."""

    exit_code = 2


class StoreFault(Fault):
    """The store cannot be opened, or holds something that breaks one of its promises."""


class FileHeld(Fault):
    """A received file that is kept aside whole; the run goes on with the others."""


class FileRefused(FileHeld):
    """A received file that must not be kept at all: it carries direct identifiers."""


def title_of(error: BaseException) -> str:
    """What failed, without the places and values that a message may name."""
    return error.what if isinstance(error, Fault) else type(error).__name__
