"""How a run shows its progress on stderr: a bar that moves on a terminal, plain lines in a log."""

from __future__ import annotations

import sys
import time

from pipeline.faults import printable

_LOG_EVERY_SECONDS = 10.0  # a log file wants signs of life, not a bar


class Terminal:
    """Prints the steps of a run and the progress within a step."""

    def __init__(self, stream=None):
        self.stream = stream or sys.stderr
        self.is_live = self.stream.isatty()
        self._open_line = False
        self._spoke_at = self._drawn_at = time.monotonic()

    def step(self, position: int, of: int, title: str) -> None:
        self._close_line()
        head = f"[{position}/{of}] " if of else ""
        print(f"{head}{title} …", file=self.stream, flush=True)
        self._spoke_at = time.monotonic()

    def progress(self, done: int, total: int, what: str) -> None:
        now = time.monotonic()
        if self.is_live:
            if done < total and now - self._drawn_at < 0.1:
                return
            self._drawn_at = now
            filled = round(24 * done / total) if total else 24
            line = (
                f"\r      {'━' * filled}{'╌' * (24 - filled)} {done} of {total}  {printable(what, 40)}\x1b[K"
            )
            print(line, end="", file=self.stream, flush=True)
            self._open_line = True
        elif now - self._spoke_at >= _LOG_EVERY_SECONDS:
            print(f"      {done} of {total}  {printable(what, 60)}", file=self.stream, flush=True)
            self._spoke_at = now

    def finish(self) -> None:
        self._close_line()

    def _close_line(self) -> None:
        if self._open_line:
            print("\r\x1b[K", end="", file=self.stream, flush=True)
            self._open_line = False
