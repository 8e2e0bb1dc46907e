"""A frozen folder against its manifest, and its tables against their description: each fault is named."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from invented_store import fill, nothing, programme_in

from pipeline.cli import main
from pipeline.faults import Fault
from pipeline.release import frozen, manifest
from pipeline.release.frozen import Version
from pipeline.release.publish import TOTALS, json_bytes, write_release
from pipeline.release.schema import TABLES
from pipeline.release.table import published_table
from pipeline.release.table_schema_check import faults_of
from pipeline.release.unsuppressed import Unsuppressed
from pipeline.release.verify import verify
from pipeline.store import Store


@pytest.fixture
def folder(tmp_path) -> Path:
    """A small release with its manifest, writable, so that it can be damaged."""
    programme = programme_in(tmp_path)
    with Store.open(None) as store:
        fill(store)
        frames = Unsuppressed(store, programme.settings.disclosure).whole()
    tables = [
        (table, published_table(table, frames[table.name] if frames[table.name].height else nothing(table)))
        for table in TABLES
    ]
    made = tmp_path / "2025Q1"
    made.mkdir()
    totals = pl.DataFrame({"item": ["files"], "n": [2]})
    write_release(made, programme, date(2025, 4, 10), tables, totals, {"period": "2025Q1"})
    (made / "index.html").write_text("<p>page</p>")
    account = pl.DataFrame(
        [("", 2, 200, 200, 0, 0, 0)],
        schema=[
            "site",
            "files",
            "rows_read",
            "rows_accepted",
            "rows_held",
            "rows_duplicate",
            "rows_superseded",
        ],
        orient="row",
    )
    told = manifest.manifest_of(made, programme, Version("2025Q1", 1), date(2025, 4, 10), account, None)
    (made / manifest.NAME).write_bytes(json_bytes(told))
    assert TOTALS == "total"
    return made


def test_an_untouched_folder_is_sound(folder, capsys):
    assert verify(folder).is_sound
    assert main(["verify", str(folder)]) == 0
    shown = capsys.readouterr().out
    assert "sound" in shown and hashlib.sha256((folder / "manifest.json").read_bytes()).hexdigest() in shown


def changed_in_place(folder):
    path = folder / "data" / "prevalence.csv"
    path.write_bytes(path.read_bytes().replace(b"120", b"121"))
    return "changed  data/prevalence.csv: same size"


def longer(folder):
    path = folder / "index.html"
    path.write_bytes(path.read_bytes() + b" ")
    return "changed  index.html: 12 bytes, was 11"


def gone(folder):
    (folder / "index.html").unlink()
    return "missing  index.html"


def extra(folder):
    (folder / "data" / ".hidden.csv").write_text("x")
    return "extra    data/.hidden.csv"


def a_link(folder):
    path = folder / "index.html"
    copy = path.with_name("copy")
    path.rename(folder.parent / "copy")
    path.symlink_to(folder.parent / copy.name)
    return "changed  index.html: no regular file"


@pytest.mark.parametrize("damage", [changed_in_place, longer, gone, extra, a_link])
def test_what_changed_is_missing_or_is_extra_is_named(folder, capsys, damage):
    expected = damage(folder)
    assert main(["verify", str(folder)]) == 1
    assert expected in capsys.readouterr().out


def test_a_manifest_that_was_changed_with_its_file_differs_from_the_recorded_one(folder):
    recorded = hashlib.sha256((folder / "manifest.json").read_bytes()).hexdigest()
    path = folder / "index.html"
    path.write_text("<p>else</p>")
    told = json.loads((folder / "manifest.json").read_text())
    for file in told["files"]:
        if file["path"] == "index.html":
            file["sha256"] = hashlib.sha256(path.read_bytes()).hexdigest()
    (folder / "manifest.json").write_bytes(json_bytes(told))
    assert verify(folder).is_sound  # a folder vouches for itself only as far as its manifest does
    assert "changed  manifest.json" in verify(folder, recorded_sha256=recorded).faults[0]


@pytest.mark.parametrize("content", [None, "", "{}", "[1]"])
def test_a_folder_without_a_manifest_is_no_frozen_release(folder, content):
    (folder / "manifest.json").unlink()
    if content is not None:
        (folder / "manifest.json").write_text(content)
    with pytest.raises(Fault, match="no frozen release"):
        verify(folder)


def test_a_programme_with_nothing_frozen_says_so(tmp_path, capsys):
    assert main(["init", str(tmp_path / "p")]) == 0
    assert main(["verify", str(tmp_path / "p")]) == 1
    assert "nothing frozen" in capsys.readouterr().err
    assert main(["verify", str(tmp_path / "nowhere")]) == 2  # as every command of a path that is not there


# ---- tables against their description ------------------------------------------------------------------------------


def rewritten(folder: Path, change) -> list[str]:
    """Faults of the data after a change to the text of prevalence.csv, sizes and hashes of the descriptor renewed."""
    data = folder / "data"
    path = data / "prevalence.csv"
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    package = json.loads((data / "datapackage.json").read_text())
    for resource in package["resources"]:
        content = (data / resource["path"]).read_bytes()
        resource["bytes"], resource["hash"] = len(content), f"sha256:{hashlib.sha256(content).hexdigest()}"
    (data / "datapackage.json").write_bytes(json_bytes(package))
    return faults_of(data)


def test_tables_as_they_were_written_fit_their_description(folder):
    assert faults_of(folder / "data") == []


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (",200,", ",two hundred,", "column denominator, line 2: not of type integer"),
        (",200,", ",200.5,", "column denominator, line 2: not of type integer"),
        ("visceral_fat,usual", ",usual", "column banding, line 2: breaks required"),
        (",all,20", ",both,20", "column sex, line 2: breaks enum"),
        ("2025Q1", "2025Q5", "column period, line 2: breaks pattern"),
        (",166,", ",-166,", "column n, line 2: breaks minimum 0"),
        (",20,99,", ",20,299,", "column age_to, line 2: breaks maximum"),
        ("banding,", "bandings,", "columns bandings"),
        (",166,", ",167,", "prevalence.parquet, column n, row 1: differs from the CSV"),
    ],
)
def test_a_cell_that_breaks_its_description_is_named_by_column_and_line(folder, old, new, fault):
    found = rewritten(folder, lambda text: text.replace(old, new, 1))
    assert any(fault in one for one in found), found


def test_a_row_twice_and_a_row_too_few_are_named(folder):
    twice = rewritten(folder, lambda text: text + text.splitlines()[1] + "\n")
    assert any("two rows with the same banding, band" in one for one in twice)
    fewer = rewritten(folder, lambda text: "\n".join(text.splitlines()[:-2]) + "\n")
    assert any("prevalence.parquet: not the rows and columns" in one for one in fewer)


def test_a_file_that_is_not_there_or_leads_out_of_the_folder_is_named(folder):
    (folder / "data" / "trend.csv").unlink()
    assert any("trend.csv: named by datapackage.json" in one for one in faults_of(folder / "data"))
    package = json.loads((folder / "data" / "datapackage.json").read_text())
    package["resources"][0]["path"] = "../release.json"
    (folder / "data" / "datapackage.json").write_bytes(json_bytes(package))
    assert any("leads out of the package" in one for one in faults_of(folder / "data"))


def test_frozen_names_are_told_from_others():
    assert frozen.Version("2025Q1", 1).name == "2025Q1" and frozen.Version("2025Q1", 3).name == "2025Q1.3"
