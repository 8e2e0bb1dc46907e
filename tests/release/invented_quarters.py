"""A programme of invented people at three sites over two quarters, in a folder, run from the command line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.cli import main

SITES = ("north-quay", "east-pier", "mill-lane")
PROFILE = """\
format = "csv"
[columns]
participant = { header = "Member" }
measured_on = { header = "Date" }
sex = { header = "Sex" }
age = { header = "Age" }
height = { header = "Ht" }
weight = { header = "Wt" }
"""


@dataclass
class Quarters:
    folder: Path

    def put(self, site: str, name: str, rows: list[str]) -> Path:
        path = self.folder / "inbox" / site / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(["Member,Date,Sex,Age,Ht,Wt", *rows]) + "\n", encoding="utf-8")
        return path

    def run(self, as_of: str = "2025-07-10") -> int:
        return main(["run", str(self.folder), "--as-of", as_of])

    def release(self, period: str, *more: str, as_of: str = "2025-07-10") -> int:
        return main(["release", str(self.folder), period, "--as-of", as_of, *more])

    def frozen(self, name: str) -> Path:
        return self.folder / "published" / "releases" / name


def people(first: int, n: int, day: str, *, weight: float = 70.0) -> list[str]:
    """n people from a number on, half women, aged 20 to 59, with weights about one."""
    return [
        f"{first + i},{day},{'FM'[i % 2]},{20 + (i * 7) % 40},170.0,{weight + (i * 5) % 31 - 10:.1f}"
        for i in range(n)
    ]


def quarters(folder: Path) -> Quarters:
    made = Quarters(folder)
    folder.mkdir(parents=True)
    sites = "".join(f'[[site]]\nid = "{site}"\nname = "{site}"\nprofile = "profile.toml"\n' for site in SITES)
    (folder / "programme.toml").write_text(f'name = "Harbour District"\n{sites}', encoding="utf-8")
    (folder / "profile.toml").write_text(PROFILE, encoding="utf-8")
    for place, site in enumerate(SITES):
        first = 10_000 * (place + 1)
        made.put(site, "q1.csv", people(first, 160, "2025-02-03"))
        made.put(site, "q2.csv", people(first, 160, "2025-05-03", weight=71.0))
    return made
