"""What a run does when the settings no longer fit the store, and when there is nothing to publish."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pipeline.cli import main
from pipeline.store import Store

PROFILE = """\
format = "csv"
[columns]
participant = { header = "participant" }
measured_on = { header = "measured_on" }
sex = { header = "sex" }
age = { header = "age" }
height = { header = "height" }
weight = { header = "weight" }
"""
HEADER = "participant,measured_on,sex,age,height,weight\n"


def settings(*sites: str, period: str = "quarter") -> str:
    listed = "".join(
        f'[[site]]\nid = "{site}"\nname = "{site}"\nprofile = "profile.toml"\n' for site in sites
    )
    return f'name = "Harbour"\nperiod = "{period}"\n{listed}'


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """Two sites, a person seen in two months of one quarter and another at the second site."""
    (tmp_path / "profile.toml").write_text(PROFILE)
    (tmp_path / "programme.toml").write_text(settings("pier", "quay"))
    for site in ("pier", "quay"):
        (tmp_path / "inbox" / site).mkdir(parents=True)
    rows = "p1,2025-01-10,female,40,165,65.0\np1,2025-02-10,female,40,165,64.5\n"
    (tmp_path / "inbox" / "pier" / "a.csv").write_text(HEADER + rows)
    (tmp_path / "inbox" / "quay" / "a.csv").write_text(HEADER + "p2,2025-03-10,male,50,180,82.0\n")
    return tmp_path


def run(house: Path, as_of: str = "2025-04-15") -> int:
    return main(["run", str(house), "--as-of", as_of])


def people_by_period(house: Path) -> list[tuple]:
    with Store.open(house / "store" / "evenbeam.duckdb", read_only=True) as store:
        return store.rows("select period, count(*) from reading.participant_period group by all order by all")


def test_quarters_become_months_for_every_stored_reading_and_back(house):
    assert run(house) == 0
    assert people_by_period(house) == [("2025Q1", 2)]
    (house / "programme.toml").write_text(settings("pier", "quay", period="month"))
    assert run(house) == 0
    assert people_by_period(house) == [("2025-01", 1), ("2025-02", 1), ("2025-03", 1)]
    with Store.open(house / "store" / "evenbeam.duckdb", read_only=True) as store:
        assert store.rows("select distinct period from tally.band order by all") == [
            ("2025-01",), ("2025-02",), ("2025-03",)]  # fmt: skip
    (house / "programme.toml").write_text(settings("pier", "quay"))
    assert run(house) == 0
    assert people_by_period(house) == [("2025Q1", 2)]


def test_a_site_that_left_the_settings_stops_the_run_and_is_named(house, capsys):
    assert run(house) == 0
    (house / "programme.toml").write_text(settings("pier"))
    assert run(house) == 2
    message = capsys.readouterr().err
    assert "no site quay" in message and "in the store: 1" in message and "next:" in message


def test_a_day_before_the_readings_stops_the_run(house, capsys):
    assert run(house) == 0
    assert run(house, as_of="2025-02-01") == 2
    assert "readings up to 2025-03-10" in capsys.readouterr().err


def test_an_empty_inbox_is_one_clear_message(house, capsys):
    shutil.rmtree(house / "inbox")
    (house / "inbox" / "pier").mkdir(parents=True)
    assert run(house) == 1
    assert "no readings yet" in capsys.readouterr().err
    assert not (house / "published" / "latest").exists()


def test_readings_that_do_not_count_are_told_of(house, capsys):
    # The second site numbers its members from p1 too: another person under the same number.
    (house / "inbox" / "quay" / "b.csv").write_text(
        HEADER + "".join(f"p1,2025-03-{day},male,22,190,95.0\n" for day in (11, 12))
    )
    assert run(house) == 0
    told = capsys.readouterr().out
    assert "accepted readings do not count" in told and 'scope = "site"' in told
    main(["status", str(house)])
    assert "do not count" in capsys.readouterr().out


def test_a_published_folder_that_cannot_be_written_is_one_clear_message(house, capsys):
    (house / "published").write_text("a file where a folder should be")
    assert run(house) == 1
    message = capsys.readouterr().err
    assert "published" in message and "next:" in message and "Traceback" not in message
