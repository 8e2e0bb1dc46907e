"""store/decisions/: which counts were withheld when a period was last proved, so that it need not be proved again.

It may be deleted at any time. A file holds places that are withheld, under the hash of what was decided on, and no
count (pipeline/disclosure/remembered.py).
"""

from __future__ import annotations

import os
import threading
from contextlib import suppress
from pathlib import Path

FOLDER = "decisions"
MOST = 400  # files; the oldest go first. A period takes two to four


class DecisionsKept:
    """A folder as the memory of the suppressor."""

    def __init__(self, store: Path):
        self.folder = store / FOLDER

    def read(self, key: str) -> bytes | None:
        try:
            return (self.folder / key).read_bytes()
        except OSError:
            return None

    def keep(self, key: str, content: bytes) -> None:
        """Under its own name at once or not at all. A full disk or a folder that cannot be written costs time later."""
        part = self.folder / f".{key}.{os.getpid()}.{threading.get_ident()}"
        with suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            try:
                part.write_bytes(content)
                part.replace(self.folder / key)
            finally:
                part.unlink(missing_ok=True)
            self._forget_the_oldest()

    def _forget_the_oldest(self) -> None:
        kept = sorted(self.folder.iterdir(), key=lambda one: one.stat().st_mtime)
        for one in kept[:-MOST]:
            one.unlink(missing_ok=True)
