"""What a run did, as JSON lines under store/log/, a file a month, for a log collector. No personal data.

Files are named by site and sha256, never by name, and faults by their title: a file's name or a message may say more
than a log should keep. A log that cannot be written never fails a run.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

_logger = logging.getLogger("evenbeam")


class RunLog:
    """Appends one line an event: at, event, run_id and the event's own facts."""

    def __init__(self, folder: Path, now: Callable[[], datetime]):
        self._folder, self._now, self._is_open = folder, now, True
        self.run_id: int | None = None
        self.exit_code, self.outcome = 0, ""  # of the run, once it has finished

    def write(self, event: str, **facts: Any) -> None:
        self.exit_code, self.outcome = facts.get("exit_code", self.exit_code), facts.get("outcome", self.outcome)
        if not self._is_open:
            return
        at = self._now().astimezone()
        line = {"at": at.isoformat(timespec="milliseconds"), "event": event, "run_id": self.run_id, **facts}
        try:
            self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            with (self._folder / f"{at:%Y-%m}.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(line, default=str, ensure_ascii=False) + "\n")
        except OSError as error:
            self._is_open = False
            _logger.warning("the run's log cannot be written: %s", error.strerror or error)
