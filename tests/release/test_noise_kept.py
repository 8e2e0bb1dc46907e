"""Noise is drawn once a period, kept beside the store, and stated in the release."""

from __future__ import annotations

import json
import stat
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from invented_store import fill, programme_in

from pipeline.faults import SettingsFault, StoreFault
from pipeline.programme import Disclosure, Programme
from pipeline.release import noise_kept
from pipeline.release.contents import contents_of, digest_of
from pipeline.release.noise_kept import last_day, mechanism_of, noisy_tables, require_noise_can_be_drawn
from pipeline.release.publish import publish
from pipeline.store import Store

AS_OF = date(2026, 1, 15)


def programme(folder: Path, **disclosure) -> Programme:
    plain = programme_in(folder)
    settings = plain.settings.model_copy(update={"disclosure": Disclosure(**disclosure)})
    plain.store.mkdir(exist_ok=True)
    return Programme(plain.path, settings, {}, plain.sha256)


def count(store: Store, period: str, n: int) -> None:
    store.execute(
        "insert into tally.band values ('north-quay', $period, 'female', 30, 'bmi_adult', 'normal', $n)",
        {"period": period, "n": n},
    )


@pytest.fixture
def store():
    with Store.open(None) as store:
        fill(store)
        count(store, "2025Q1", 400)
        yield store


NOISE = {"noise": {"epsilon": 0.25}}


def test_without_the_setting_there_is_no_noise_and_no_file(store, tmp_path):
    plain = programme(tmp_path)
    assert noisy_tables(store, plain, AS_OF) == []
    assert list(plain.store.iterdir()) == []


def test_a_period_is_drawn_once_and_stays_whatever_comes_later(store, tmp_path):
    asking = programme(tmp_path, **NOISE)
    ((_, first),) = noisy_tables(store, asking, AS_OF)
    count(store, "2025Q1", 5000)  # a late file
    ((_, again),) = noisy_tables(store, asking, AS_OF)
    assert first.equals(again) and first["n"].max() < 1000
    path = asking.store / noise_kept.FILE
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    ((_, other),) = noisy_tables(store, programme(tmp_path, noise={"epsilon": 0.1}), AS_OF)
    assert other.equals(first)  # another epsilon is for periods to come
    path.unlink()  # lost: another draw, and so another answer
    ((_, anew),) = noisy_tables(store, asking, AS_OF)
    assert not anew.equals(first)


def test_a_period_under_way_waits_for_its_last_day(store, tmp_path):
    asking = programme(tmp_path, **NOISE)
    count(store, "2026Q1", 100)
    ((_, rows),) = noisy_tables(store, asking, AS_OF)
    assert rows["period"].unique().to_list() == ["2025Q1"]
    ((_, rows),) = noisy_tables(store, asking, date(2026, 3, 31))
    assert rows["period"].n_unique() == 1
    ((_, rows),) = noisy_tables(store, asking, date(2026, 4, 1))
    assert rows["period"].unique().sort().to_list() == ["2025Q1", "2026Q1"]
    ((_, rows),) = noisy_tables(store, asking, AS_OF)  # an earlier day shows what was over then
    assert rows["period"].unique().to_list() == ["2025Q1"]


@pytest.mark.parametrize(
    ("period", "day"),
    [
        ("2025Q1", date(2025, 3, 31)),
        ("2025Q4", date(2025, 12, 31)),
        ("2024-02", date(2024, 2, 29)),
        ("2025-12", date(2025, 12, 31)),
    ],
)
def test_the_last_day_of_a_period(period, day):
    assert last_day(period) == day


def test_the_release_states_budget_unit_and_rounding_and_is_repeatable(store, tmp_path):
    asking = programme(tmp_path, rounding=5, **NOISE)
    latest = publish(store, asking, AS_OF, build_pages=lambda folder: None).path
    record = json.loads((latest / "release.json").read_text())
    noise = record["disclosure"]["noise"]
    assert record["disclosure"]["rounding"] == 5
    assert (
        noise["epsilon_of_a_person_in_every_period"] == 0.25 and "one person in one period" in noise["unit"]
    )
    assert noise["periods"] == [
        {"period": "2025Q1", "epsilon": 0.25, "delta": 0.0, "mechanism": "discrete Laplace"}
    ]
    (table,) = [table for table in record["tables"] if table["name"] == "noisy_count"]
    assert "Unit of privacy: one person in one period" in table["description"]
    assert "epsilon 0.25 and delta 0. It holds for this table alone" in table["description"]
    package = json.loads((latest / "data" / "datapackage.json").read_text())
    assert "noisy_count" in [resource["name"] for resource in package["resources"]]
    rows = pl.read_parquet(latest / "data" / "noisy_count.parquet")
    assert rows.height == record["tables"][-1]["rows"] and rows["half_width"].unique().to_list() == [12]
    shown = pl.read_parquet(latest / "data" / "prevalence.parquet").filter(pl.col("n").is_not_null())
    assert shown.height and shown.select((pl.col("n", "denominator") % 5 == 0).all()).row(0) == (True, True)
    before = digest_of(contents_of(latest))
    assert digest_of(contents_of(publish(store, asking, AS_OF, build_pages=lambda folder: None).path)) == before


def test_without_noise_the_release_says_nothing_of_it(store, tmp_path):
    latest = publish(store, programme(tmp_path), AS_OF, build_pages=lambda folder: None).path
    assert not {"rounding", "noise"} & set(json.loads((latest / "release.json").read_text())["disclosure"])
    assert not (latest / "data" / "noisy_count.csv").exists()


def test_noise_that_cannot_be_drawn_stops_the_run_at_its_start(tmp_path, monkeypatch):
    with pytest.raises(SettingsFault, match="noise too fine"):
        require_noise_can_be_drawn(programme(tmp_path, noise={"epsilon": 2.0}))
    monkeypatch.setitem(__import__("sys").modules, "opendp.prelude", None)
    with pytest.raises(SettingsFault, match="noise not installed"):
        mechanism_of(Disclosure(**NOISE))
    require_noise_can_be_drawn(programme(tmp_path))


def test_a_damaged_file_of_noise_is_not_drawn_anew(store, tmp_path):
    asking = programme(tmp_path, **NOISE)
    (asking.store / noise_kept.FILE).write_text("{")
    with pytest.raises(StoreFault, match="restore the file from its backup"):
        noisy_tables(store, asking, AS_OF)
