"""`latest` is always one whole version, whatever happens while the next is built; nothing of others is deleted."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.faults import Fault
from pipeline.release.contents import contents_of, digest_of
from pipeline.release.versions import make_latest, unfinished_version


def publish(published: Path, text: str, label: str = "2026-01-15") -> Path:
    with unfinished_version(published) as folder:
        (folder / "data").mkdir()
        (folder / "data" / "n.csv").write_text(text)
        (folder / "index.html").write_text(text)
        return make_latest(published, folder, label).path


def versions(published: Path) -> set[str]:
    return {path.name for path in (published / ".versions").iterdir()} - {"made-by-evenbeam"}


def test_latest_is_a_relative_link_to_the_one_version(tmp_path):
    latest = publish(tmp_path / "published", "first")
    assert latest == tmp_path / "published" / "latest"
    assert (latest / "data" / "n.csv").read_text() == "first"
    assert str(latest.readlink()).startswith(".versions/2026-01-15-")
    (tmp_path / "published").rename(tmp_path / "moved")
    assert (tmp_path / "moved" / "latest" / "index.html").read_text() == "first"


def test_a_new_version_replaces_the_old_which_goes(tmp_path):
    publish(tmp_path, "first")
    first = versions(tmp_path)
    latest = publish(tmp_path, "second")
    assert (latest / "index.html").read_text() == "second"
    assert len(versions(tmp_path)) == 1 and not versions(tmp_path) & first


def test_the_same_content_keeps_its_version(tmp_path):
    publish(tmp_path, "same")
    before = (tmp_path / "latest" / "index.html").stat().st_ino
    publish(tmp_path, "same")
    assert (tmp_path / "latest" / "index.html").stat().st_ino == before
    assert len(versions(tmp_path)) == 1


def test_a_damaged_version_of_the_same_content_is_replaced(tmp_path):
    latest = publish(tmp_path, "same")
    (latest / "index.html").write_text("damaged")
    assert (publish(tmp_path, "same") / "index.html").read_text() == "same"
    assert len(versions(tmp_path)) == 1


def test_a_failure_while_building_leaves_the_last_good_version_and_no_leftovers(tmp_path):
    publish(tmp_path, "good")
    with pytest.raises(RuntimeError, match="half-way"), unfinished_version(tmp_path) as folder:
        (folder / "index.html").write_text("half")
        raise RuntimeError("half-way")
    assert (tmp_path / "latest" / "index.html").read_text() == "good"
    assert len(versions(tmp_path)) == 1


KILLED = """
import os, signal, sys
from pathlib import Path
from pipeline.release import versions
published, moment = Path(sys.argv[1]), sys.argv[2]
def die(*args, **kwargs): os.kill(os.getpid(), signal.SIGKILL)
if moment == "before the rename": versions.flush_all = die
if moment == "before the link": Path.symlink_to = die
if moment == "before the swap": Path.replace = die
if moment == "before the clearing": versions.flush = lambda folder, do=versions.flush: (
    die() if folder == published else do(folder))
with versions.unfinished_version(published) as folder:
    (folder / "index.html").write_text("second")
    if moment == "while building": die()
    versions.make_latest(published, folder, "2026-01-15")
"""


@pytest.mark.parametrize(
    ("moment", "seen"),
    [
        ("while building", "first"),
        ("before the rename", "first"),
        ("before the link", "first"),
        ("before the swap", "first"),
        ("before the clearing", "second"),
    ],
)
def test_a_kill_at_any_moment_leaves_a_whole_version_and_the_next_run_clears_up(tmp_path, moment, seen):
    publish(tmp_path, "first")
    ended = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), moment], check=False)
    assert ended.returncode == -9
    assert (tmp_path / "latest" / "index.html").read_text() == seen
    latest = publish(tmp_path, "third")
    assert (latest / "index.html").read_text() == "third"
    assert len(versions(tmp_path)) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == [".versions", "latest"]


def test_other_things_in_published_stay(tmp_path):
    (tmp_path / "2025Q3").mkdir()
    (tmp_path / "2025Q3" / "kept.csv").write_text("kept")
    publish(tmp_path, "first")
    publish(tmp_path, "second")
    assert (tmp_path / "2025Q3" / "kept.csv").read_text() == "kept"


def _folder_latest(published: Path) -> Path:
    (published / "latest").mkdir(parents=True)
    return published / "latest"


def _strange_versions(published: Path) -> Path:
    (published / ".versions").mkdir(parents=True)
    return published / ".versions"


def _link_elsewhere(published: Path) -> Path:
    published.mkdir()
    (published.parent / "elsewhere").mkdir()
    (published / "latest").symlink_to("../elsewhere")
    return published / "latest"


def _versions_link(published: Path) -> Path:
    published.mkdir()
    (published.parent / "elsewhere").mkdir()
    (published / ".versions").symlink_to("../elsewhere")
    return published / ".versions"


@pytest.mark.parametrize("make", [_folder_latest, _strange_versions, _link_elsewhere, _versions_link])
def test_what_is_not_ours_stops_the_release_and_is_never_deleted(tmp_path, make):
    path = make(tmp_path / "published")
    (path / "theirs.txt").write_text("theirs")
    with pytest.raises(Fault, match="cannot publish") as fault:
        publish(tmp_path / "published", "ours")
    assert str(path) in str(fault.value) and "nothing was deleted" in str(fault.value)
    assert (path / "theirs.txt").read_text() == "theirs"


def test_a_file_where_the_folder_should_be_stops_the_release(tmp_path):
    (tmp_path / "published").write_text("a file")
    with pytest.raises(Fault, match="expected a folder"):
        publish(tmp_path / "published", "ours")


def test_a_digest_tells_names_and_contents(tmp_path):
    digests = set()
    for folder, name, text in (("a", "n", "x"), ("b", "m", "x"), ("c", "n", "y")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / name).write_text(text)
        digests.add(digest_of(contents_of(tmp_path / folder)))
    assert len(digests) == 3
