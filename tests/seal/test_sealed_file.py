"""A sealed file is there whole or not at all, and takes nobody's place."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from invented_export import HEADERS, KEY, profile_text, written

from pipeline.cli import main
from pipeline.faults import Fault
from pipeline.seal import key_file
from pipeline.seal.sealed_file import sealed_path, written_once

ROOT = Path(__file__).parents[2]


def test_a_sealed_file_is_never_replaced(site):
    path, profile = written(site.folder, "csv")
    (site.folder / "export.sealed.csv").write_text("precious")
    assert site.seal(path, profile) == 1 and "already sealed" in site.stderr
    assert (site.folder / "export.sealed.csv").read_text() == "precious"


def test_one_that_came_meanwhile_is_not_replaced_either(tmp_path):
    final = tmp_path / "a.sealed.csv"
    with pytest.raises(Fault, match="already sealed"), written_once(final) as text:
        text.write("new")
        final.write_text("precious")
    assert final.read_text() == "precious" and list(tmp_path.iterdir()) == [final]


def test_without_hard_links_the_file_is_named_all_the_same(tmp_path, monkeypatch):
    def refuse(source, target):
        raise PermissionError("no links on this stick")

    monkeypatch.setattr(key_file.os, "link", refuse)
    final = tmp_path / "a.sealed.csv"
    with written_once(final) as text:
        text.write("new")
    assert final.read_text() == "new" and list(tmp_path.iterdir()) == [final]
    with pytest.raises(Fault, match="already sealed"), written_once(final) as text:
        text.write("newer")
    assert final.read_text() == "new" and list(tmp_path.iterdir()) == [final]


def test_a_fault_half_way_leaves_nothing(site):
    path, profile = written(site.folder, "csv")
    path.write_bytes(path.read_bytes() + b'x;"' + b"y" * (1 << 21) + b"\r\n")
    before = sorted(site.folder.iterdir())
    assert site.seal(path, profile) == 1
    assert sorted(site.folder.iterdir()) == before


def test_killed_half_way_no_finished_name_is_in_the_inbox(site):
    inbox = site.folder / "inbox" / "north-quay"
    inbox.mkdir(parents=True)
    row = ["Dent", "", "4711", "2025-02-03", "M", "180.0", "80.5", "1984-02-29", "", "A1"]
    path, profile = site.folder / "long.csv", site.folder / "site.toml"
    with path.open("w") as text:
        text.write(",".join(HEADERS) + "\n")
        text.writelines(",".join([*row[:2], str(n), *row[3:]]) + "\n" for n in range(400_000))
    profile.write_text(profile_text('format = "csv"'))
    command = [
        sys.executable,
        "-m",
        "pipeline.seal",
        str(path),
        "--profile",
        str(profile),
        "--into",
        str(inbox),
    ]
    environment = {**os.environ, "EVENBEAM_SEAL_KEY": KEY.hex(), "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while not list(inbox.iterdir()) and process.poll() is None:
        time.sleep(0.01)
    process.kill()
    process.wait()
    (left,) = inbox.iterdir()
    assert left.name.startswith(".") and left.name.endswith(".part")


def test_the_original_in_an_inbox_is_pointed_out(site):
    path, profile = written(site.folder / "inbox" / "north-quay", "csv")
    assert site.seal(path, profile) == 0 and "take it out" in site.stdout


@pytest.mark.parametrize("name", ["Zaphod Beeblebrox.csv", "Zaphod_Beeblebrox.xlsx", "ann@example.org.csv"])
def test_a_file_named_after_a_person_is_to_be_renamed(tmp_path, name):
    with pytest.raises(Fault, match="name looks like a person's") as caught:
        sealed_path(tmp_path / name, None)
    assert "Zaphod" not in str(caught.value) and "ann" not in str(caught.value)


@pytest.mark.parametrize(
    ("name", "sealed"),
    [
        ("a.csv", "a.sealed.csv"),
        ("2025-07.csv.gz", "2025-07.sealed.csv"),
        ("North Quay.xlsx", "North Quay.sealed.csv"),
        ("export", "export.sealed.csv"),
    ],
)
def test_a_sealed_file_is_named_after_its_original(tmp_path, name, sealed):
    assert sealed_path(tmp_path / name, None) == tmp_path / sealed


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no headers"),
        (b"PK\x03\x04 no workbook", "begins like xlsx"),
        (b"\xff\xfe\xfd\x00\x01 \x81\x8d\x8f", "not sealed"),
        (b"Member;Measured\r\n1;2\r\n", "no header Sex"),
        (b"Member;Member;Measured;Sex;Height;Weight;Machine;DOB\r\n", "the header Member 2 times"),
    ],
)
def test_rubbish_is_named_and_nothing_is_written(site, content, said):
    path, profile = written(site.folder, "csv")
    path.write_bytes(content)
    before = sorted(site.folder.iterdir())
    assert site.seal(path, profile) == 1
    assert site.stderr.startswith("not sealed  export.csv") and said in site.stderr
    assert sorted(site.folder.iterdir()) == before


def test_what_is_no_file_is_named(site):
    path, profile = written(site.folder, "csv")
    assert site.seal(site.folder / "no.csv", profile) == 1 and "No such file" in site.stderr
    assert site.seal(site.folder, profile) == 1 and "Is a directory" in site.stderr
    assert (
        site.seal(path, profile, "--into", str(site.folder / "no")) == 2 and "no such folder" in site.stderr
    )
    assert site.seal(path, site.folder / "no.toml") == 2 and "no.toml" in site.stderr


def test_gzip_and_lines_above_the_headers_are_read(site):
    path, profile = written(site.folder, "csv")
    packed = path.with_name("export.csv.gz")
    packed.write_bytes(gzip.compress(b"Export of desk@example.org\r\n" + path.read_bytes()))
    profile.write_text("header_row = 2\n" + profile.read_text())
    assert site.seal(packed, profile) == 0
    assert len(site.rows(site.folder / "export.sealed.csv")) == 4


def test_several_files_go_on_after_a_fault(site, capsys):
    path, profile = written(site.folder, "csv")
    (site.folder / "empty.csv").write_text("")
    assert (
        main(
            [
                "seal",
                str(site.folder / "empty.csv"),
                str(path),
                f"--profile={profile}",
                f"--key-file={site.key}",
            ]
        )
        == 1
    )
    assert (site.folder / "export.sealed.csv").exists() and "no headers" in capsys.readouterr().err
    assert not (site.folder / "empty.sealed.csv").exists()
