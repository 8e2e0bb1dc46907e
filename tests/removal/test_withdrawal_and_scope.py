"""Whose number it is can be said otherwise later (scope, in a profile): who withdrew stays away all the same."""

from __future__ import annotations

import io

import pytest
from invented_programme import PERSON, Invented, of_person, others, profile

DAY = ("--as-of", "2025-07-10")
NEW = [*others(9000, "2025-04-03", 3), *of_person("72.0", day="2025-04-03")]


@pytest.fixture
def withdraw(monkeypatch):
    def withdraw(programme: Invented, *more: str) -> int:
        monkeypatch.setattr("sys.stdin", io.StringIO(PERSON + "\n"))
        return programme.run("withdraw", str(programme.folder), *DAY, *more)

    return withdraw


def scope(programme: Invented, whose: str, *, site: str = "north-quay", form: str = "csv") -> None:
    (programme.folder / f"{site}.toml").write_text(profile(form, whose))


def read(programme: Invented, *, site: str = "north-quay", name: str = "b.csv") -> tuple[int, int]:
    """(accepted, withdrawn) of a new file with three others and the person."""
    programme.put(site, name, NEW)
    assert programme.run("run", str(programme.folder), *DAY) == 0
    [account] = [one for one in programme.accounts() if one[0] == f"{site}/{name}"]
    return account[2], account[6]


def test_who_withdrew_everywhere_does_not_come_back_under_a_sites_own_number(programme, withdraw):
    assert withdraw(programme) == 0
    scope(programme, "site")
    assert read(programme) == (3, 1)
    assert programme.run("rebuild", str(programme.folder)) == 0  # the kept files anew, with that profile
    assert programme.is_anywhere(PERSON) == []


def test_who_withdrew_from_a_site_does_not_come_back_there_under_a_number_of_the_programme(programme, withdraw):
    scope(programme, "site")
    assert programme.run("rebuild", str(programme.folder)) == 0
    assert withdraw(programme, "--site", "north-quay") == 0
    scope(programme, "programme")
    assert read(programme) == (3, 1)
    assert read(programme, site="gull-yard", name="b.ndjson") == (4, 0)  # there it is another site's number


def test_rows_read_under_either_meaning_leave_together(programme, withdraw):
    scope(programme, "site")
    assert read(programme) == (4, 0)
    scope(programme, "programme")
    assert withdraw(programme) == 0
    assert programme.is_anywhere(PERSON) == []
    with programme.opened() as store:
        assert store.rows("select sum(rows_withdrawn) from ledger.file") == [(11,)]  # ten, and the one of b.csv


def test_rows_of_a_site_that_may_be_somebody_elses_are_read_anew_first(programme, withdraw, capsys):
    scope(programme, "site")
    assert read(programme) == (4, 0)
    before = programme.accounts()
    assert withdraw(programme, "--site", "north-quay") == 1
    said = capsys.readouterr().err
    assert "rows read with an earlier profile" in said and "evenbeam rebuild" in said and PERSON not in said
    assert programme.accounts() == before
    assert programme.run("rebuild", str(programme.folder)) == 0
    assert withdraw(programme, "--site", "north-quay") == 0
    with programme.opened() as store:
        rows = "select site, sum(rows_withdrawn) from ledger.file group by all having sum(rows_withdrawn) > 0"
        assert store.rows(rows) == [("north-quay", 5)]


def test_rows_elsewhere_that_may_be_somebody_elses_are_read_anew_first(programme, withdraw, capsys):
    """The number is the programme's at the site that gave it; at another its rows were read so, and it is no more."""
    scope(programme, "site", site="gull-yard", form="ndjson")
    before = programme.accounts()
    assert withdraw(programme, "--site", "north-quay") == 1
    assert "inbox/gull-yard" in capsys.readouterr().err
    assert programme.accounts() == before
    assert programme.run("rebuild", str(programme.folder)) == 0
    assert withdraw(programme, "--site", "north-quay") == 0
    with programme.opened() as store:
        rows = "select distinct site from ledger.file where rows_withdrawn > 0"
        assert ("north-quay",) in store.rows(rows) and ("gull-yard",) not in store.rows(rows)
