"""One invented site with an inbox, a profile and a store in memory: put files in, receive, look."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

from pipeline.intake import IntakeSummary, receive
from pipeline.programme import Programme, read_profile
from pipeline.store import Store

SITE = "north-quay"
HEADER = "Member,Date,Sex,Age,Ht,Wt"
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


class House:
    """A programme of one or two invented sites."""

    def __init__(self, folder: Path, sites: tuple[str, ...] = (SITE,)):
        self.folder, self.run_id = folder, 0
        self.store = Store.open(None, may_read=[folder])
        tables = [f'[[site]]\nid = "{site}"\nname = "{site}"\nprofile = "{site}.toml"\n' for site in sites]
        (folder / "programme.toml").write_text(
            'name = "Harbour District"\n' + "".join(tables), encoding="utf-8"
        )
        for site in sites:
            (folder / "inbox" / site).mkdir(parents=True)
            self.profile(PROFILE, site)

    def profile(self, text: str, site: str = SITE) -> None:
        (self.folder / f"{site}.toml").write_text(text, encoding="utf-8")

    def put(self, name: str, content: str | bytes, site: str = SITE) -> Path:
        path = self.folder / "inbox" / site / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    def work_with(self, threads: int) -> None:
        """A new store that works on so many files side by side."""
        self.store.close()
        self.store = Store.open(None, threads=threads, may_read=[self.folder])

    def receive(self, as_of: date = date(2025, 6, 30)) -> IntakeSummary:
        self.run_id += 1
        return receive(
            self.store,
            Programme.read(self.folder),
            as_of=as_of,
            received_at=datetime(2025, 6, 30, 8),
            run_id=self.run_id,
            progress=lambda done, total, what: None,
        )

    def accepted(self, *columns: str) -> list[tuple]:
        """The accepted readings' columns, in the order of receipt; one column comes as bare values."""
        rows = self.store.rows(f"select {', '.join(columns)} from reading.accepted order by reading_id")
        return [row[0] for row in rows] if len(columns) == 1 else rows

    def held(self) -> list[tuple[int, list[str]]]:
        return self.store.rows("select line, codes from ledger.held_row order by file_id, line")

    def files(self, *columns: str) -> list[tuple]:
        rows = self.store.rows(f"select {', '.join(columns)} from ledger.file order by file_id")
        return [row[0] for row in rows] if len(columns) == 1 else rows

    def counts(self) -> list[tuple[int, ...]]:
        """(read, accepted, held, duplicate, superseded) of each file."""
        found = self.files("rows_read", "rows_accepted", "rows_held", "rows_duplicate", "rows_superseded")
        assert all(read == sum(rest) for read, *rest in found)
        return found

    def archived(self) -> list[str]:
        return sorted(path.name for path in (self.folder / "store" / "archive").glob("??/*") if path.is_file())


def csv(*rows: str, header: str = HEADER) -> str:
    return "\n".join((header, *rows)) + "\n"


def profile_of(text: str, tmp_path: Path):
    path = tmp_path / "profile.toml"
    path.write_text(text, encoding="utf-8")
    return read_profile(path)
