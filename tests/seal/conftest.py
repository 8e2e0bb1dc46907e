"""A site's folder with a key, and a way to seal there."""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from invented_export import KEY

from pipeline.cli import main


@dataclass
class Site:
    folder: Path
    capture: pytest.CaptureFixture
    stdout: str = ""
    stderr: str = ""

    @property
    def key(self) -> Path:
        return self.folder / "seal.key"

    def seal(self, path: Path, profile: Path, *more: str) -> int:
        arguments = ["seal", str(path), "--profile", str(profile), "--key-file", str(self.key), *more]
        code = main(arguments)
        self.stdout, self.stderr = self.capture.readouterr()
        return code

    def rows(self, path: Path) -> list[list[str]]:
        with path.open(encoding="utf-8", newline="") as text:
            return list(csv.reader(text))


@pytest.fixture
def site(tmp_path, capsys, monkeypatch):
    monkeypatch.delenv("EVENBEAM_SEAL_KEY", raising=False)
    made = Site(tmp_path, capsys)
    made.key.write_text(KEY.hex())
    made.key.chmod(0o600)
    return made
