"""A folder that is no complete release is refused with what, where, found, expected, next: mechanics."""

from __future__ import annotations

import json

import pytest
from invented_release import make_release

from dashboards import build_pages
from dashboards.release import ReleaseUnreadable, read_release


@pytest.fixture
def small(tmp_path):
    return make_release(tmp_path, sites=2, quarters=2)


def change(folder, **facts):
    path = folder / "release.json"
    path.write_text(json.dumps({**json.loads(path.read_text(encoding="utf-8")), **facts}), encoding="utf-8")


def test_an_empty_folder_is_named(tmp_path):
    with pytest.raises(ReleaseUnreadable, match=r"no release .*release\.json[\s\S]*next: "):
        read_release(tmp_path)


def test_broken_json_is_named(small):
    (small / "release.json").write_text("{", encoding="utf-8")
    with pytest.raises(ReleaseUnreadable, match="expected JSON"):
        read_release(small)


def test_a_missing_fact_is_named(small):
    (small / "release.json").write_text("{}", encoding="utf-8")
    with pytest.raises(ReleaseUnreadable, match="found no programme, no as_of"):
        read_release(small)


def test_a_missing_table_is_named(small):
    (small / "data" / "percentile.parquet").unlink()
    with pytest.raises(ReleaseUnreadable, match=r"found no percentile\.parquet"):
        build_pages(small)
    assert not (small / "index.html").exists()


def test_a_site_id_that_would_leave_the_folder_is_refused(small):
    change(small, sites=[{"id": "../../etc/x", "name": "X", "kind": "gym"}])
    with pytest.raises(ReleaseUnreadable, match="small letters, digits and hyphens"):
        build_pages(small)


@pytest.mark.parametrize(("without", "absent"), [
    ("prevalence", ["prevalence.html", "sites.html"]), ("percentile", ["percentiles.html"]),
    ("data_quality", ["data-quality.html"]),
])  # fmt: skip
def test_a_release_without_a_table_has_no_page_and_no_link_for_it(tmp_path, without, absent):
    folder = make_release(tmp_path, sites=2, quarters=2, without=(without,))
    written = {path.name for path in build_pages(folder)}
    assert not written & set(absent)
    index = (folder / "index.html").read_text(encoding="utf-8")
    assert not [name for name in absent if f'href="{name}"' in index]


def test_a_withheld_count_is_said_to_be_withheld(small):
    change(small, counts={"people": None, "readings": 1234, "files": 3})
    build_pages(small)
    index = (small / "index.html").read_text(encoding="utf-8")
    assert "<dt>people measured</dt><dd>withheld</dd>" in index
    assert "<dd>1\u202f234</dd>" in index
