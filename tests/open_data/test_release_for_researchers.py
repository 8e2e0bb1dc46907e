"""What a researcher is handed: a data package that the standard's own validator accepts, a citation, an example.

Source of the rules: Data Package and Table Schema standard, version 2, as the general-purpose library frictionless
5.21 checks them; Citation File Format 1.2.0 (keys from memory).
"""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
import yaml
from frictionless import Package

from pipeline.release.citation import citation

EXAMPLE = Path(__file__).parents[2] / "docs" / "examples" / "read_release.py"


@pytest.fixture(scope="session")
def release(open_run) -> Path:
    return open_run.folder / "published" / "latest"


def test_the_descriptor_and_every_row_of_every_csv_pass_the_standards_validator(release):
    package = Package(str(release / "data" / "datapackage.json"))
    tables = [resource for resource in package.resources if resource.format == "csv"]
    assert len(tables) >= 10
    for resource in tables:
        report = resource.validate()
        assert report.valid, report.flatten(["rowNumber", "fieldName", "message"])[:3]


def test_a_broken_row_does_not_pass(release, tmp_path):
    """The check above can fail: a proportion over 1 is found."""
    descriptor = Package(str(release / "data" / "datapackage.json")).to_descriptor()
    resource = next(r for r in descriptor["resources"] if r["name"] == "prevalence")
    lines = (release / "data" / "prevalence.csv").read_text(encoding="utf-8").splitlines()
    place = lines[0].split(",").index("proportion")
    shown = next(i for i, line in enumerate(lines[1:], start=1) if line.split(",")[place])
    cells = lines[shown].split(",")
    cells[place] = "1.5"
    lines[shown] = ",".join(cells)
    (tmp_path / "prevalence.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for key in ("bytes", "hash"):
        resource.pop(key)
    report = Package({"resources": [resource]}, basepath=str(tmp_path)).resources[0].validate()
    assert not report.valid


def test_the_citation_names_the_programme_and_the_day(release):
    cited = yaml.safe_load((release / "CITATION.cff").read_text(encoding="utf-8"))
    assert cited["cff-version"] == "1.2.0" and cited["type"] == "dataset"
    record = json.loads((release / "release.json").read_text(encoding="utf-8"))
    assert cited["authors"] == [{"name": record["programme"]}]
    assert str(cited["date-released"]) == "2025-10-15"


def test_a_name_cannot_become_a_key_of_the_citation():
    cited = yaml.safe_load(citation('Quay: "x"\nlicense: none', date(2026, 1, 15), "evenbeam 0"))
    assert "license" not in cited
    assert cited["authors"] == [{"name": 'Quay: "x"\nlicense: none'}]


def test_the_example_reads_a_release_and_draws_a_chart(release, tmp_path):
    done = subprocess.run(
        [sys.executable, str(EXAMPLE), str(release), str(tmp_path / "chart.html")],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "vega" in (tmp_path / "chart.html").read_text(encoding="utf-8")
