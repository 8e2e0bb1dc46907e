"""What is in a folder's files, and which of them are read again. Mechanics; SHA-256 by the standard library."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from pipeline.release import contents
from pipeline.release.contents import content_of, contents_of, digest_of, written


@pytest.fixture
def folder(tmp_path) -> Path:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "n.csv").write_bytes(b"n\n1\n")
    (tmp_path / "index.html").write_bytes(b"<title>page</title>")
    return tmp_path


def test_what_was_written_in_pieces_is_told_as_if_it_were_read(tmp_path):
    told = written(tmp_path / "n.csv", [b"n\n", b"", b"1\n"])
    assert (tmp_path / "n.csv").read_bytes() == b"n\n1\n"
    assert told == content_of(tmp_path / "n.csv")
    assert (told.bytes, told.sha256) == (4, hashlib.sha256(b"n\n1\n").hexdigest())


def test_a_file_that_is_there_is_not_written_over(folder):
    with pytest.raises(FileExistsError):
        written(folder / "index.html", [b"other"])


def test_the_digest_is_of_names_and_contents_in_the_order_of_names(folder):
    lines = "".join(
        f"{name}\0{hashlib.sha256((folder / name).read_bytes()).hexdigest()}\n" for name in ("data/n.csv", "index.html")
    )
    assert digest_of(contents_of(folder)) == hashlib.sha256(lines.encode()).hexdigest()


def untouched(path: Path) -> None:
    pass


def other_bytes(path: Path) -> None:
    path.write_bytes(b"<title>PAGE</title>")


def other_bytes_with_the_moment_set_back(path: Path) -> None:
    before = path.stat()
    other_bytes(path)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def other_length(path: Path) -> None:
    path.write_bytes(path.read_bytes() + b" ")


def another_file_in_its_place(path: Path) -> None:
    before, beside = path.stat(), path.with_suffix(".new")
    beside.write_bytes(path.read_bytes())
    os.utime(beside, ns=(before.st_atime_ns, before.st_mtime_ns))
    beside.replace(path)


def touched(path: Path) -> None:
    os.utime(path, ns=(0, 0))


@pytest.mark.parametrize(
    ("change", "is_read"),
    [
        (untouched, False), (other_bytes, True), (other_bytes_with_the_moment_set_back, True), (other_length, True),
        (another_file_in_its_place, True), (touched, True),
    ],
)  # fmt: skip
def test_a_file_is_read_again_only_where_it_looks_changed(folder, monkeypatch, change, is_read):
    known, read = contents_of(folder), []
    change(folder / "index.html")
    monkeypatch.setattr(contents, "content_of", lambda path: read.append(path.name) or content_of(path))
    found = contents_of(folder, known)
    assert read == ["index.html"] * is_read
    assert digest_of(found) == digest_of(contents_of(folder))


def test_a_file_that_went_or_came_is_told(folder):
    known = contents_of(folder)
    (folder / "index.html").rename(folder / "other.html")
    assert list(contents_of(folder, known)) == ["data/n.csv", "other.html"]
