"""What publishing costs, part by part: processor seconds and the most memory that was held meanwhile.

    python tests/benchmarks/run_speed.py --readings 1000000 --folder FOLDER   # or any other programme with a store
    python tests/benchmarks/publishing_parts.py FOLDER/programme.toml

Works on a copy of the store in a temporary folder and publishes there. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import date
from functools import wraps
from pathlib import Path
from typing import Any

import psutil

import dashboards
from pipeline.programme import Programme
from pipeline.release import publish as publishing
from pipeline.release import standing
from pipeline.store import Store

AS_OF = date(2026, 1, 15)
OF_STORE = ("evenbeam.duckdb", "pseudonym.key")


class Parts:
    """Seconds of this process and the most memory it held, by the part that was under way."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.peaks: dict[str, int] = {}
        self._at, self._since = "", time.process_time()
        threading.Thread(target=self._watch, daemon=True).start()

    def _watch(self) -> None:
        process = psutil.Process()
        while True:
            part = self._at
            self.peaks[part] = max(self.peaks.get(part, 0), process.memory_info().rss)
            time.sleep(0.02)

    def begin(self, part: str) -> None:
        now = time.process_time()
        self.seconds[self._at] = self.seconds.get(self._at, 0) + now - self._since
        self._at, self._since = part, now

    def of(self, part: str, function: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(function)
        def called(*arguments: Any, **named: Any) -> Any:
            self.begin(part)
            try:
                return function(*arguments, **named)
            finally:
                self.begin("")

        return called


def measure(programme: Programme, assets: Path | None) -> Parts:
    """Publish once. `assets`: those of an earlier publication, which a run copies as well."""
    parts = Parts()
    made = {"_of_view": "tables and files", "write_record": "tables and files", "make_latest": "flush, digest and swap"}
    for name, part in made.items():
        setattr(publishing, name, parts.of(part, getattr(publishing, name)))
    pages = parts.of("pages", lambda folder: dashboards.build_pages(folder, assets=assets))
    with Store.open(programme.store / "evenbeam.duckdb") as store:
        parts.begin("results and disclosure control")
        latest = publishing.publish(store, programme, AS_OF, build_pages=pages)
        parts.of("what it stands on", standing.remember)(programme, {}, latest.contents)
        parts.of("a look at what stands", standing.read_standing)(programme)
    return parts


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("programme", type=Path)
    source = Programme.read(parser.parse_args().programme)
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place)
        (copy / "store").mkdir()
        for name in OF_STORE:
            shutil.copy(source.store / name, copy / "store" / name)
        shutil.copy(source.path, copy / "programme.toml")
        if (source.path.parent / "profiles").is_dir():
            shutil.copytree(source.path.parent / "profiles", copy / "profiles")
        assets = source.published / "latest" / "assets"
        parts = measure(Programme.read(copy / "programme.toml"), assets.resolve() if assets.is_dir() else None)
    print("| part | processor seconds | most memory, GiB |\n| --- | ---: | ---: |")
    for part, seconds in parts.seconds.items():
        if part:
            print(f"| {part} | {seconds:.2f} | {parts.peaks.get(part, 0) / 2**30:.2f} |")


if __name__ == "__main__":
    main()
