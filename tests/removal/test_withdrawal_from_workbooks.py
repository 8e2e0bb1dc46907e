"""Whose lines leave a workbook's kept copy: those of the sheet that was read, whatever the profile names since."""

from __future__ import annotations

import io

import fastexcel
import pytest
from invented_programme import HEADER, PERSON, Invented, of_person, others, profile
from xlsxwriter import Workbook

from pipeline.intake import kept_ledger
from pipeline.store import Store

DAY = ("--as-of", "2025-07-10")
EARLIER, LATER = others(7000, "2025-04-03", 6), others(8000, "2025-05-03", 7)


def name_sheet(programme: Invented, sheet: str) -> None:
    (programme.folder / "east-pier.toml").write_text(f'sheet = "{sheet}"\n' + profile("xlsx"))


@pytest.fixture
def read_earlier(programme) -> Invented:
    """A workbook of two sheets, of which `Earlier` was read, with the person in its fourth row."""
    name_sheet(programme, "Earlier")
    rows = {"Later": LATER, "Earlier": [*EARLIER[:2], *of_person("69.0", day="2025-04-03"), *EARLIER[2:]]}
    with Workbook(programme.folder / "inbox" / "east-pier" / "two.xlsx") as book:
        for title, shown in rows.items():
            page = book.add_worksheet(title)
            for place, row in enumerate((HEADER, *shown)):
                page.write_row(place, 0, row)
    assert programme.run("run", str(programme.folder), *DAY) == 0
    assert ("east-pier/two.xlsx", 7, 7, 0, 0, 0, 0, 0) in programme.accounts()
    return programme


def withdraw(programme: Invented, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(PERSON + "\n"))
    assert programme.run("withdraw", str(programme.folder), *DAY) == 0
    assert programme.is_anywhere(PERSON) == []


def copy_of(programme: Invented, name: str) -> fastexcel.ExcelReader | None:
    with programme.opened() as store:
        sha256 = store.value("select kept_sha256 from ledger.file where name = $name", {"name": name})
    return sha256 and fastexcel.read_excel((programme.store / "archive" / sha256[:2] / sha256).read_bytes())


def members_in(programme: Invented, name: str) -> list[str | None]:
    book = copy_of(programme, name)
    [sheet] = book.sheet_names
    return book.load_sheet(sheet, header_row=None, dtypes="string").to_polars().to_series().to_list()


def as_before_sheets_were_kept(programme: Invented) -> None:
    with Store.open(programme.store / "evenbeam.duckdb") as store:
        store.execute("update ledger.file set sheet = null")


@pytest.mark.parametrize("now", ["Later", "2026"])
def test_the_sheet_that_was_read_loses_the_lines_whichever_the_profile_names_now(
    read_earlier, monkeypatch, capsys, now
):
    name_sheet(read_earlier, now)
    withdraw(read_earlier, monkeypatch)
    assert "kept file of store/archive" not in capsys.readouterr().out
    expected = ["Member", "7000", "7001", None, "7002", "7003", "7004", "7005"]
    assert members_in(read_earlier, "two.xlsx") == expected
    # the other workbook was read by its first sheet, before the profile named one
    members = members_in(read_earlier, "a.xlsx")
    assert len(members) == 82 and members[41] is None and members.count(None) == 1  # the other row was the last


def test_the_archives_own_list_says_which_sheet_was_read(read_earlier):
    listed = {row["name"]: row["sheet"] for row in kept_ledger.read(read_earlier.store / "archive").tables["file"]}
    assert listed == {"two.xlsx": "Earlier", "a.xlsx": "", "a.csv": None, "a.parquet": None, "a.ndjson": None}
    (read_earlier.store / "evenbeam.duckdb").unlink()
    assert read_earlier.run("rebuild", str(read_earlier.folder)) == 0
    with read_earlier.opened() as store:  # every file was read again, as the profile is now
        found = dict(store.rows("select name, sheet from ledger.file"))
    assert found["two.xlsx"] == "Earlier"


def test_of_a_version_that_did_not_keep_the_sheet_the_same_profile_tells_it(read_earlier, monkeypatch):
    as_before_sheets_were_kept(read_earlier)
    withdraw(read_earlier, monkeypatch)
    assert members_in(read_earlier, "two.xlsx")[:4] == ["Member", "7000", "7001", None]


def test_of_a_version_that_did_not_keep_the_sheet_another_profile_tells_nothing(read_earlier, monkeypatch, capsys):
    as_before_sheets_were_kept(read_earlier)
    name_sheet(read_earlier, "Later")
    withdraw(read_earlier, monkeypatch)
    said = capsys.readouterr().out
    assert "removed  1 kept file of store/archive" in said and "several sheets" in said
    assert copy_of(read_earlier, "two.xlsx") is None
    assert len(members_in(read_earlier, "a.xlsx")) == 82  # it has one sheet only
