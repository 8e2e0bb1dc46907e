"""A run that is killed in the middle of a file: the next run finds it again and counts it once."""

import pytest
from invented_site import csv

from pipeline.intake import filing

ROW = "m1,2025-02-03,F,35,165.0,65.0"


class Killed(BaseException):
    """Stands for a signal: nothing in the pipeline catches it."""


@pytest.mark.parametrize("step", ["13_held_row.sql", "14_reading_accepted.sql", "15_file_rows.sql"])
def test_a_kill_between_archive_and_commit_loses_and_doubles_nothing(house, monkeypatch, step):
    house.put("a.csv", csv(ROW, "m2,2025-02-03,F,35,,65.0"))
    whole = house.store.execute_file

    def dies_at(name, /, **parameters):
        if name == step:
            raise Killed
        whole(name, **parameters)

    monkeypatch.setattr(house.store, "execute_file", dies_at)
    with pytest.raises(Killed):
        house.receive()
    assert house.files("file_id") == [] and house.accepted("line") == [] and len(house.archived()) == 1
    monkeypatch.undo()
    house.receive()
    assert house.counts() == [(2, 1, 1, 0, 0)]
    assert house.accepted("line") == [2] and house.held() == [(3, ["missing:height"])]


def test_an_unexpected_error_is_not_taken_for_a_fault_of_the_file(house, monkeypatch):
    house.put("a.csv", csv(ROW))

    def is_broken(*arguments, **keywords):
        raise ZeroDivisionError

    monkeypatch.setattr(filing, "file_rows", is_broken)
    with pytest.raises(ZeroDivisionError):
        house.receive()


def test_a_fault_of_one_file_does_not_stop_the_next(house):
    house.put("a.csv", "")
    house.put("b.csv", csv(ROW, header="Member,Date,Sex,Age,Height,Wt"))
    house.put("c.csv", csv(ROW))
    summary = house.receive()
    assert (summary.files_held, summary.files_accepted) == (2, 1)
    assert house.files("state", "reason_code") == [
        ("held", "no_rows"),
        ("held", "header_missing"),
        ("accepted", None),
    ]
