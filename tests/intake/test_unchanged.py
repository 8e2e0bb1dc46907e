"""Accepted files that lie in the inbox as they did are not read again; whatever changed them, they are."""

import os

import pytest
from invented_site import PROFILE, SITE, csv

from pipeline.intake import archive, unchanged
from pipeline.intake.arrival import Arrival

ROW, OTHER = "m1,2025-02-03,F,35,165.0,60.0", "m1,2025-02-03,F,35,165.0,61.0"


@pytest.fixture
def read(monkeypatch):
    """The names of files whose bytes were read to know them."""
    names, digest_of = [], archive.digest_of

    def told(path):
        names.append(path.name)
        return digest_of(path)

    monkeypatch.setattr(archive, "digest_of", told)
    return names


@pytest.fixture
def every_moment_is_long_ago(monkeypatch):
    """As if the files had lain there since yesterday: no test can set back when a file was last changed."""
    monkeypatch.setattr(unchanged, "_COARSEST_MOMENT_NS", -(10**15))


@pytest.mark.usefixtures("every_moment_is_long_ago")
def test_a_file_that_was_accepted_is_not_read_again(house, read):
    house.put("a.csv", csv(ROW))
    house.put("in/b.csv", csv(OTHER))
    assert house.receive().files_accepted == 2
    read.clear()
    summary = house.receive()
    assert (summary.files_already_received, summary.files_of_earlier_profile, read) == (2, 0, [])


def test_a_file_that_was_changed_shortly_before_the_run_is_read_once_more(house, read, monkeypatch):
    house.put("a.csv", csv(ROW))
    house.receive()
    assert house.store.rows("from ledger.inbox_file") == []
    house.receive()
    assert read == ["a.csv", "a.csv"]
    monkeypatch.setattr(unchanged, "_COARSEST_MOMENT_NS", -(10**15))  # it is long enough ago now
    house.receive()
    read.clear()
    assert house.receive().files_already_received == 1
    assert read == []


def overwrite_and_set_the_moment_back(path):
    before = path.stat()
    path.write_text(csv(OTHER))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)


def put_another_in_its_place(path):
    other = path.with_name("b.part")
    other.write_text(csv(OTHER))
    other.replace(path)


@pytest.mark.usefixtures("every_moment_is_long_ago")
@pytest.mark.parametrize("change", [overwrite_and_set_the_moment_back, put_another_in_its_place])
def test_a_file_that_was_changed_is_read_whatever_it_looks_like(house, change):
    path = house.put("a.csv", csv(ROW))
    house.receive()
    change(path)
    assert house.receive().readings_replaced == 1
    assert house.accepted("weight_kg") == [61.0]


@pytest.mark.usefixtures("every_moment_is_long_ago")
def test_a_file_that_was_not_accepted_is_read_every_time(house, read):
    house.put("a.csv", csv("m1,2025-02-03,F,35,165.0"))
    house.receive()
    read.clear()
    assert house.receive().files_held == 1
    assert "a.csv" in read


@pytest.mark.usefixtures("every_moment_is_long_ago")
def test_an_unchanged_file_that_was_read_with_an_earlier_profile_is_told(house, read):
    house.put("a.csv", csv(ROW))
    house.receive()
    house.profile(PROFILE.replace('"Wt"', '"Wt", unit = "[lb_av]"'))
    read.clear()
    assert (house.receive().files_of_earlier_profile, read) == (1, [])


@pytest.mark.usefixtures("every_moment_is_long_ago")
def test_a_file_that_is_gone_is_forgotten(house):
    path = house.put("a.csv", csv(ROW))
    house.put("b.csv", csv(OTHER))
    house.receive()
    path.unlink()
    house.receive()
    assert house.store.rows("select name from ledger.inbox_file") == [("b.csv",)]


@pytest.mark.usefixtures("every_moment_is_long_ago")
def test_a_link_in_its_place_is_not_taken_for_it(house):
    path = house.put("a.csv", csv(ROW))
    house.receive()
    path.rename(path.with_name("aside.part"))
    path.symlink_to("aside.part")
    assert unchanged.unchanged(house.store, [Arrival(SITE, path, "a.csv")]) == {}
