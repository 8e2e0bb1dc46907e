"""A period frozen from the command line: what the folder holds, what it refuses, and that nothing in it changes."""

from __future__ import annotations

import hashlib
import json
import shutil
import stat

import polars as pl
import pytest
from invented_quarters import Quarters, people, quarters

import dashboards
from pipeline import freezing
from pipeline.cli import main
from pipeline.release import frozen
from pipeline.results import over_periods
from pipeline.store import Store


@pytest.fixture(scope="module", autouse=True)
def no_curves():
    """Curves take most of the time; the small page stands for all pages."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dashboards, "build_pages", lambda folder: (folder / "index.html").write_text("page"))
        patch.setattr(over_periods, "build_curves", lambda store, settings, progress: None)
        yield


@pytest.fixture(scope="module")
def first(tmp_path_factory) -> Quarters:
    """2025Q2 frozen, once, with 2025Q1 before it in the store."""
    made = quarters(tmp_path_factory.mktemp("frozen") / "programme")
    assert made.run() == 0
    assert made.release("2025Q2") == 0
    return made


@pytest.fixture
def programme(first, tmp_path) -> Quarters:
    shutil.copytree(first.folder, tmp_path / "programme", symlinks=True)
    return Quarters(tmp_path / "programme")


def content(folder) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def table(programme: Quarters, name: str, release: str = "2025Q2") -> pl.DataFrame:
    return pl.read_parquet(programme.frozen(release) / "data" / f"{name}.parquet")


def test_a_release_says_its_own_period_and_what_runs_up_to_it(first):
    for name in ("prevalence", "percentile", "data_quality", "site_comparison"):
        rows = table(first, name)
        assert rows.height and rows["period"].unique().to_list() == ["2025Q2"], name
    assert table(first, "trend").select("period_from", "period_to").unique().rows() == [("2025Q1", "2025Q2")]
    record = json.loads((first.frozen("2025Q2") / "release.json").read_text())
    assert (record["release"], record["period"], record["version"], record["why"]) == (
        "2025Q2",
        "2025Q2",
        1,
        None,
    )
    assert record["periods"] == ["2025Q2"]
    assert record["counts"] == {"files": 3, "people": 480, "readings": 480}


def test_the_manifest_names_every_file_and_what_it_was_made_from(first):
    folder = first.frozen("2025Q2")
    manifest = json.loads((folder / "manifest.json").read_text())
    assert {file["path"]: file["sha256"] for file in manifest["files"]} == {
        name: digest for name, digest in content(folder).items() if name != "manifest.json"
    }
    assert all(file["bytes"] == (folder / file["path"]).stat().st_size for file in manifest["files"])
    assert manifest["as_of"] == "2025-07-10" and manifest["software"].startswith("evenbeam ")
    assert len(manifest["settings_sha256"]) == 64
    lines = {line["site"]: line for line in manifest["inputs"]["sites"]}
    assert lines[""]["files"] == 6 and lines["north-quay"]["files"] == 2
    for line in lines.values():
        assert line["rows_read"] == sum(
            line[f"rows_{s}"] for s in ("accepted", "held", "duplicate", "superseded")
        )
    assert lines[""]["rows_read"] == 960 == 3 * lines["north-quay"]["rows_read"]


def test_nothing_in_a_frozen_folder_can_be_written(first):
    folder = first.frozen("2025Q2")
    for path in (folder, *folder.rglob("*")):
        assert not stat.S_IMODE(path.stat().st_mode) & 0o222, path


def test_freezing_leaves_the_store_as_it_was(first):
    with Store.open(first.folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        assert store.value("select count(*) from reading.accepted") == 960
        assert store.value("select count(*) from ledger.file where not is_built or rows_expired > 0") == 0
        assert store.rows("select period, version, state from ledger.release") == [("2025Q2", 1, "frozen")]


def test_later_readings_change_nothing_in_an_earlier_period(first, programme, tmp_path):
    """2025Q1, frozen with 2025Q2 in the store, says the same as frozen before 2025Q2 came."""
    before = quarters(tmp_path / "before")
    for site in (before.folder / "inbox").iterdir():
        (site / "q2.csv").unlink()
    before.run("2025-04-10")
    assert before.release("2025Q1", as_of="2025-07-10") == 0
    assert programme.release("2025Q1") == 0
    for name in ("prevalence", "percentile", "trend", "data_quality", "site_comparison", "device"):
        mine, theirs = (
            (one.frozen("2025Q1") / f"data/{name}.csv").read_bytes() for one in (programme, before)
        )
        assert mine == theirs, name


def test_the_same_store_and_day_freeze_to_the_same_bytes(first, tmp_path):
    again = quarters(tmp_path / "again")
    again.run()
    again.release("2025Q2")
    assert content(again.frozen("2025Q2")) == content(first.frozen("2025Q2"))


@pytest.mark.parametrize(("as_of", "code"), [("2025-06-30", 1), ("2025-07-01", 0)])
def test_a_period_is_over_on_the_day_after_its_last(first, tmp_path, as_of, code, capsys):
    shutil.copytree(first.folder, tmp_path / "p", symlinks=True, ignore=shutil.ignore_patterns("releases"))
    made = Quarters(tmp_path / "p")
    with Store.open(made.folder / "store" / "evenbeam.duckdb") as store:
        store.execute("delete from ledger.release")
    assert made.release("2025Q2", as_of=as_of) == code
    if code:
        assert "period not over" in capsys.readouterr().err and not made.frozen("2025Q2").exists()
        assert made.release("2025Q2", "--before-its-end", as_of=as_of) == 0


@pytest.mark.parametrize(
    ("period", "code", "said"),
    [
        ("2025Q7", 2, "expected a quarter such as 2025Q3"),
        ("2025-05", 2, "expected a quarter such as 2025Q3"),
        ("2024Q4", 1, "no readings in 2024Q4"),
        ("../evil", 2, "not a period"),
    ],
)
def test_a_period_that_cannot_be_frozen_is_refused(programme, capsys, period, code, said):
    assert programme.release(period) == code
    assert said in capsys.readouterr().err
    assert [path.name for path in (programme.folder / "published" / "releases").iterdir()] == ["2025Q2"]


def test_files_that_nobody_has_read_must_be_read_first(programme, capsys):
    programme.put("mill-lane", "late.csv", people(90_000, 30, "2025-05-20"))
    assert programme.release("2025Q1") == 1
    message = capsys.readouterr().err
    assert "files waiting" in message and "mill-lane/late.csv" in message and "evenbeam run" in message
    programme.run()
    assert programme.release("2025Q1") == 0


def test_frozen_twice_needs_a_reason_and_a_change(programme, capsys):
    before = content(programme.frozen("2025Q2"))
    assert programme.release("2025Q2") == 1
    assert "--why" in capsys.readouterr().err
    assert programme.release("2025Q2", "--why", "to see") == 1
    assert "nothing to restate" in capsys.readouterr().err
    assert programme.release("2025Q1", "--why", "too early") == 2
    assert content(programme.frozen("2025Q2")) == before and not programme.frozen("2025Q2.2").exists()


def test_late_files_make_a_second_version_and_leave_the_first_alone(programme, capsys):
    before = content(programme.frozen("2025Q2"))
    programme.put("mill-lane", "late.csv", people(90_000, 400, "2025-05-20"))
    assert programme.run() == 0
    assert "otherwise than its frozen release" in capsys.readouterr().out
    code = programme.release("2025Q2", "--why", "late files from mill-lane", "--keep-small-changes")
    assert code == 0, capsys.readouterr().err
    assert content(programme.frozen("2025Q2")) == before
    record = json.loads((programme.frozen("2025Q2.2") / "release.json").read_text())
    assert (record["version"], record["why"]) == (2, "late files from mill-lane")
    key = ["banding", "band", "population", "site", "period", "sex", "age_from", "age_to"]
    both = table(programme, "prevalence").join(
        table(programme, "prevalence", "2025Q2.2"), on=key, nulls_equal=True, suffix="_new"
    )
    changed = both.filter(pl.col("n") != pl.col("n_new"))
    assert changed.height
    told = table(programme, "restatement", "2025Q2.2").filter(table="prevalence", figure="n")
    assert sorted(told["new"].to_list()) == sorted(changed["n_new"].cast(pl.Float64).to_list())
    assert sorted(told["old"].to_list()) == sorted(changed["n"].cast(pl.Float64).to_list())
    # a change that may be told is one of at least ten people, everywhere
    assert both.filter((pl.col("n") - pl.col("n_new")).abs().is_between(1, 9)).is_empty()
    assert main(["verify", str(programme.folder)]) == 0


def test_a_change_of_a_few_people_is_refused_by_group_and_without_a_count(programme, capsys):
    programme.put("mill-lane", "late.csv", people(90_000, 3, "2025-05-20"))
    programme.run()
    capsys.readouterr()
    assert programme.release("2025Q2", "--why", "three more") == 1
    message = capsys.readouterr().err
    assert "would expose a few people" in message and "mill-lane, bmi_adult" in message
    assert "--keep-small-changes" in message
    assert programme.release("2025Q2", "--why", "three more", "--keep-small-changes") == 1
    assert "nothing to restate" in capsys.readouterr().err  # all of it is kept back
    assert not programme.frozen("2025Q2.2").exists()


def test_other_groups_than_the_version_before_are_refused(programme, capsys):
    settings = programme.folder / "programme.toml"
    settings.write_text(settings.read_text() + "\n[disclosure]\nminimum_count = 5\n")
    programme.put("mill-lane", "late.csv", people(90_000, 400, "2025-05-20"))
    programme.run()
    capsys.readouterr()
    assert programme.release("2025Q2", "--why", "late files") == 2
    assert "other settings than then: minimum_count" in capsys.readouterr().err


def test_a_version_that_is_gone_must_be_restored_first(programme, capsys):
    folder = programme.frozen("2025Q2")
    for path in (folder, folder / "data"):
        path.chmod(0o755)
    shutil.rmtree(folder)
    assert programme.release("2025Q2") == 1
    assert "frozen release gone" in capsys.readouterr().err
    assert main(["verify", str(programme.folder)]) == 1
    assert "missing  the whole folder" in capsys.readouterr().out


class Killed(BaseException):
    """Stands for a signal."""


@pytest.mark.parametrize("moment", ["pages", "finish", "mark"])
def test_freezing_that_is_cut_off_leaves_nothing_half_done_and_can_be_done_again(
    first, tmp_path, monkeypatch, moment
):
    shutil.copytree(first.folder, tmp_path / "p", symlinks=True)
    made = Quarters(tmp_path / "p")

    def dies(*arguments, **keywords):
        raise Killed

    with monkeypatch.context() as patch:
        if moment == "pages":
            patch.setattr(dashboards, "build_pages", dies)
            patch.setattr(frozen, "_delete", lambda folder: None)  # a kill leaves what was built
        elif moment == "finish":
            patch.setattr(freezing.frozen, "finish", dies)
        else:
            patch.setattr(freezing, "_mark_frozen", dies)
        with pytest.raises(Killed):
            made.release("2025Q1")
    whole = made.frozen("2025Q1").exists()
    assert whole == (moment == "mark")
    assert made.release("2025Q1") == int(whole)  # already frozen, or done now
    assert main(["verify", str(made.folder)]) == 0
    assert not made.frozen(frozen.UNFINISHED).exists()
    with Store.open(made.folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        assert store.rows("select state from ledger.release order by period") == [("frozen",), ("frozen",)]


def test_a_name_that_is_taken_is_never_replaced(tmp_path):
    published = tmp_path / "published"
    version = frozen.Version("2025Q1", 1)
    frozen.folder_of(published, version).mkdir(parents=True)
    (frozen.folder_of(published, version) / "mine").write_text("mine")
    from pipeline.faults import Fault

    with frozen.unfinished_folder(published) as folder:
        (folder / "new").write_text("new")
        with pytest.raises(Fault, match="already frozen"):
            frozen.finish(published, folder, version)
    assert [path.name for path in frozen.folder_of(published, version).iterdir()] == ["mine"]


def test_versions_sort_by_period_and_number(tmp_path):
    for name in (
        "2025Q2.10",
        "2025Q2",
        "2025Q2.2",
        "2025-01",
        "latest",
        "2025Q2.x",
        ".unfinished",
        "2025Q2.0",
    ):
        (tmp_path / "releases" / name).mkdir(parents=True)
    assert [version.name for version in frozen.versions_in(tmp_path)] == [
        "2025-01",
        "2025Q2",
        "2025Q2.2",
        "2025Q2.10",
    ]
