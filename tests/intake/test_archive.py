"""Received bytes are kept unchanged, whole, and once."""

import hashlib

import pytest
from invented_site import csv

from pipeline.faults import FileHeld
from pipeline.intake import archive

ROW = "m1,2025-02-03,F,35,165.0,65.0"


def test_a_received_file_stands_under_its_sha256_byte_for_byte(house):
    sent = house.put("a.csv", csv(ROW))
    house.receive()
    digest = hashlib.sha256(sent.read_bytes()).hexdigest()
    kept = house.folder / "store" / "archive" / digest[:2] / digest
    assert kept.read_bytes() == sent.read_bytes()
    assert house.archived() == [digest]


def test_the_same_bytes_under_another_name_are_already_received(house):
    house.put("a.csv", csv(ROW))
    house.put("copy.csv", csv(ROW))
    summary = house.receive()
    assert (summary.files_accepted, summary.files_already_received, summary.rows_read) == (1, 1, 1)
    assert house.receive().files_already_received == 2


def test_the_same_bytes_from_two_sites_are_two_files_and_one_archived_copy(two_sites):
    two_sites.put("a.csv", csv(ROW))
    two_sites.put("a.csv", csv(ROW), site="east-pier")
    assert two_sites.receive().files_accepted == 2
    assert len(two_sites.archived()) == 1


def test_a_file_that_changes_while_it_is_read_is_not_kept(tmp_path):
    sent = tmp_path / "a.csv"
    sent.write_bytes(b"first")
    sha256, _ = archive.digest_of(sent)
    sent.write_bytes(b"first and more")
    with pytest.raises(FileHeld, match="changed while it was read"):
        archive.keep(sent, tmp_path / "archive", sha256, where="north-quay/a.csv")
    assert [path for path in (tmp_path / "archive").rglob("*") if path.is_file()] == []


def test_a_copy_that_was_changed_is_replaced_by_the_file_at_hand(tmp_path):
    sent = tmp_path / "a.csv"
    sent.write_bytes(b"as sent")
    sha256, _ = archive.digest_of(sent)
    kept = archive.keep(sent, tmp_path / "archive", sha256, where="north-quay/a.csv")
    kept.chmod(0o640)
    kept.write_bytes(b"as nobody sent it")
    assert archive.keep(sent, tmp_path / "archive", sha256, where="north-quay/a.csv") == kept
    assert kept.read_bytes() == b"as sent"


def test_unfinished_copies_of_a_killed_run_are_cleared(house):
    left = house.folder / "store" / "archive" / "ab" / ".abcd.123.part"
    left.parent.mkdir(parents=True)
    left.write_bytes(b"half")
    house.put("a.csv", csv(ROW))
    house.receive()
    assert not left.exists()
    assert not (house.folder / "store" / "spool").exists()
