"""A store with results → `published/latest/`, whole."""

from __future__ import annotations

import csv
import hashlib
import json
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from invented_store import data_quality, fill, prevalence, programme_in

from pipeline.release.contents import contents_of, digest_of
from pipeline.release.publish import publish, write_release
from pipeline.release.schema import TABLES
from pipeline.store import Store

AS_OF = date(2026, 1, 15)


def one_page(folder: Path) -> None:
    (folder / "index.html").write_text("<title>page</title>")


@pytest.fixture
def store():
    with Store.open(None) as store:
        yield fill(store)


@pytest.fixture
def latest(store, tmp_path) -> Path:
    return publish(store, programme_in(tmp_path), AS_OF, build_pages=one_page).path


def test_the_folder_has_tables_in_both_formats_their_description_the_record_and_the_pages(latest):
    files = sorted(str(path.relative_to(latest)) for path in latest.rglob("*") if path.is_file())
    tables = [f"data/{table.name}.{ending}" for table in TABLES for ending in ("csv", "parquet")]
    others = ["CITATION.cff", "data/datapackage.json", "index.html", "release.json"]
    assert files == sorted([*tables, *others])
    assert {"data/prevalence.csv", "data/percentile_curve.parquet"} <= set(files)


def test_csv_and_parquet_hold_the_same_figures_withheld_ones_empty(latest):
    parquet = pl.read_parquet(latest / "data" / "prevalence.parquet")
    with (latest / "data" / "prevalence.csv").open(newline="") as file:
        text = list(csv.DictReader(file))
    assert [int(row["n"]) if row["n"] else None for row in text] == parquet["n"].to_list()
    assert [float(row["proportion"]) if row["proportion"] else None for row in text] == parquet[
        "proportion"
    ].to_list()
    assert parquet["site"].to_list() == [None, None], "of neither site a figure may be shown: it has no rows"
    assert parquet.filter(pl.col("population") == "all")["n"].to_list() == [166, 34]


def test_no_withheld_figure_stands_anywhere_in_the_files(store, tmp_path):
    rows = prevalence().with_columns(
        method=pl.lit("invented"), low=pl.when(pl.col("site") == "east-pier").then(0.0123457).otherwise(0.2)
    )
    latest = publish(fill(store, prevalence=rows), programme_in(tmp_path), AS_OF, build_pages=one_page).path
    for path in latest.rglob("*.*"):
        assert not path.is_file() or b"0.0123457" not in path.read_bytes()


def test_the_record_says_what_the_release_is(latest):
    record = json.loads((latest / "release.json").read_text(encoding="utf-8"))
    assert record["programme"] == "Harbour District Movement Programme"
    assert (record["as_of"], record["period_kind"], record["periods"]) == (
        "2026-01-15",
        "quarter",
        ["2025Q1"],
    )
    assert record["sites"][0] == {"id": "north-quay", "name": "North Quay Leisure Centre", "kind": "gym"}
    assert record["disclosure"] == {"minimum_count": 10, "minimum_people_for_percentile": 30}
    assert [banding["name"] for banding in record["bandings"]] == ["visceral_fat"]
    assert [measure["name"] for measure in record["measures"]] == ["bmi"]
    assert {"age_from": 20, "age_to": 99, "is_total": True} in record["age_groups"]
    assert record["counts"] == {"files": 0, "people": 0, "readings": 0}
    assert {"code", "title", "severity", "explanation", "why"} == set(record["checks"][0])
    assert [table["name"] for table in record["tables"]] == [table.name for table in TABLES]
    assert {table["name"]: table["rows"] for table in record["tables"] if table["rows"]} == {
        "prevalence": 2,
        "percentile": 2,
        "data_quality": 3,
    }
    assert set(record["tables"][0]["columns"][0]) == {"name", "title", "description", "unit"}


def test_the_record_lists_size_and_sha256_of_every_file_of_data(latest):
    record = json.loads((latest / "release.json").read_text(encoding="utf-8"))
    listed = {file["path"]: (file["bytes"], file["sha256"]) for file in record["files"]}
    found = {
        f"data/{path.name}": (path.stat().st_size, hashlib.sha256(path.read_bytes()).hexdigest())
        for path in (latest / "data").iterdir()
    }
    assert listed == found and len(found) == 2 * len(TABLES) + 1


def test_the_same_results_settings_and_date_give_the_same_bytes_in_any_row_order(store, tmp_path):
    first = publish(store, programme_in(tmp_path / "a"), AS_OF, build_pages=one_page).path
    shuffled = prevalence().sample(fraction=1, shuffle=True, seed=3)
    again = publish(
        fill(store, prevalence=shuffled), programme_in(tmp_path / "b"), AS_OF, build_pages=one_page
    ).path
    assert digest_of(contents_of(first)) == digest_of(contents_of(again))
    assert first.readlink() == again.readlink()
    later = publish(store, programme_in(tmp_path / "c"), date(2026, 1, 16), build_pages=one_page).path
    assert digest_of(contents_of(later)) != digest_of(contents_of(first))


def test_a_table_is_made_when_the_one_before_it_is_written_and_what_is_written_is_told(store, latest, tmp_path):
    programme = programme_in(tmp_path)
    (made := tmp_path / "made").mkdir()
    seen = []

    def one_by_one():
        for table in TABLES:
            seen.append(sorted(path.stem for path in (made / "data").glob("*.parquet")))
            yield table, pl.read_parquet(latest / "data" / f"{table.name}.parquet")

    totals = pl.DataFrame({"item": ["files"], "n": [2]})
    told = write_release(made, programme, AS_OF, one_by_one(), totals)
    assert seen == [sorted(table.name for table in TABLES[:place]) for place in range(len(TABLES))]
    assert told == {path: content for path, content in contents_of(made).items() if path.startswith("data/")}


def test_pages_that_fail_leave_the_last_release_as_it_was(store, latest, tmp_path):
    before = digest_of(contents_of(latest))

    def fail(folder: Path) -> None:
        assert (folder / "release.json").exists()
        raise RuntimeError("a page failed")

    with pytest.raises(RuntimeError, match="a page failed"):
        publish(store, programme_in(tmp_path), date(2026, 2, 1), build_pages=fail)
    assert digest_of(contents_of(latest)) == before


def test_a_first_run_without_any_results_still_publishes(tmp_path):
    with Store.open(None) as store:
        latest = publish(store, programme_in(tmp_path), AS_OF, build_pages=one_page).path
    record = json.loads((latest / "release.json").read_text(encoding="utf-8"))
    assert (record["periods"], record["measures"], record["bandings"]) == ([], [], [])
    assert (latest / "data" / "percentile.csv").read_text().count("\n") == 1


def test_all_sites_together_have_no_site_in_every_table(latest):
    frame = pl.read_parquet(latest / "data" / "data_quality.parquet")
    assert frame["site"].to_list() == [None, "east-pier", "north-quay"]
    assert frame["n"].to_list() == data_quality()["n"].to_list()
