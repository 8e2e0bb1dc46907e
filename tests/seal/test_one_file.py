"""The one file that goes to a site runs on bare Python: no environment, no library of the pipeline."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from invented_export import KEY, SEALED, written

from pipeline.seal.one_file import build


@pytest.fixture(scope="module")
def one_file(tmp_path_factory):
    return build(tmp_path_factory.mktemp("dist") / "evenbeam-seal.pyz")


def run(one_file: Path, *arguments: str, key: str | None = KEY.hex()) -> subprocess.CompletedProcess:
    # -I -S: no PYTHONPATH, no site-packages, so that nothing but the file and the standard library can be imported
    environment = {**os.environ, **({"EVENBEAM_SEAL_KEY": key} if key else {})}
    command = [sys.executable, "-I", "-S", str(one_file), *arguments]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


@pytest.mark.parametrize("kind", ["csv", "tsv", "ndjson", "xlsx"])
def test_it_seals_without_anything_installed(tmp_path, one_file, kind):
    path, profile = written(tmp_path, kind)
    done = run(one_file, str(path), "--profile", str(profile))
    assert done.returncode == 0, done.stderr
    rows = (tmp_path / "export.sealed.csv").read_text().splitlines()[1:]
    assert len(rows) == len(SEALED) and all("4711" not in row for row in rows)


def test_it_seals_as_the_whole_of_evenbeam_does(tmp_path, one_file, site):
    path, profile = written(tmp_path, "xlsx")
    site.seal(path, profile)
    whole = (tmp_path / "export.sealed.csv").read_bytes()
    (tmp_path / "export.sealed.csv").unlink()
    assert run(one_file, str(path), "--profile", str(profile)).returncode == 0
    assert (tmp_path / "export.sealed.csv").read_bytes() == whole


def test_what_it_cannot_read_it_says(tmp_path, one_file):
    path, profile = written(tmp_path, "parquet")
    done = run(one_file, str(path), "--profile", str(profile))
    assert done.returncode == 1 and "no polars" in done.stderr and "save the file as CSV" in done.stderr
    assert "Traceback" not in done.stderr


def test_an_encoding_that_it_cannot_find_is_asked_for(tmp_path, one_file):
    path, profile = written(tmp_path, "csv")
    path.write_bytes(path.read_bytes().replace("spät".encode("cp1252"), "późno".encode("cp1250")))
    done = run(one_file, str(path), "--profile", str(profile))
    assert done.returncode == 1 and "name the encoding in the site's profile" in done.stderr
    profile.write_text('encoding = "cp1250"\n' + profile.read_text())
    assert run(one_file, str(path), "--profile", str(profile)).returncode == 0


def test_it_makes_a_key_and_shows_help(tmp_path, one_file):
    assert run(one_file, "--make-key", str(tmp_path / "k"), key=None).returncode == 0
    assert len((tmp_path / "k").read_text().strip()) == 64
    assert "example: evenbeam-seal export.csv" in run(one_file, "--help").stdout


def test_it_is_small_the_same_each_time_and_brings_its_licences(tmp_path, one_file):
    assert one_file.stat().st_size < 1_000_000
    assert build(tmp_path / "again.pyz").read_bytes() == one_file.read_bytes()
    with zipfile.ZipFile(one_file) as parts:
        names = parts.namelist()
    assert any(name.startswith("openpyxl-") and "LICEN" in name.upper() for name in names)
    assert any(name.startswith("et_xmlfile-") and "LICEN" in name.upper() for name in names)
    assert not any(name.startswith(("pipeline/intake", "pipeline/store", "sql/")) for name in names)
