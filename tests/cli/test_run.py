"""A run of the small demo programme, seen from the terminal and from its files."""

from __future__ import annotations

import hashlib
import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest

from dashboards import bundle
from pipeline.cli import main
from pipeline.results import building
from pipeline.store import Store


def digest_of(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def bare_copy(small_run, folder: Path) -> Path:
    """The programme before its first run."""
    shutil.copytree(small_run.folder, folder, ignore=shutil.ignore_patterns("store", "published"))
    return folder


def counted(folder: Path) -> tuple:
    with Store.open(folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        return store.rows(
            "select count(*), sum(rows_read), sum(rows_accepted), sum(rows_held), sum(rows_duplicate), "
            "sum(rows_superseded), (select count(*) from reading.accepted), "
            "(select count(*) from reading.participant_period), (select sum(n) from tally.value) from ledger.file"
        )[0]


def test_a_run_that_held_whole_files_ends_with_3(small_run):
    with small_run.store() as store:
        held = store.value("select count(*) from ledger.file where state <> 'accepted'")
    assert held > 0
    assert small_run.exit_code == 3


def test_rows_read_are_accepted_held_duplicate_or_superseded_in_every_file(small_run):
    with small_run.store() as store:
        files = store.rows(
            "select rows_read, rows_accepted + rows_held + rows_duplicate + rows_superseded from ledger.file"
        )
        accepted = store.value("select count(*) from reading.accepted")
        assert accepted == store.value("select sum(rows_accepted) from ledger.file")
    assert files and all(read == told for read, told in files)


def test_a_second_run_reads_nothing_again_and_publishes_the_same_bytes(small_run, tmp_path, capsys):
    latest = small_run.folder / "published" / "latest"
    before, written = digest_of(latest), (latest / "index.html").stat().st_mtime_ns
    assert main(["run", str(small_run.folder), "--as-of", "2026-01-15"]) == 3  # the held files are still held
    said = capsys.readouterr().out
    assert "0 read = 0 accepted" in said
    assert "nothing new to publish: published/latest stays as it was made as of 2026-01-15\n" in said
    assert digest_of(latest) == before and (latest / "index.html").stat().st_mtime_ns == written


def test_published_again_a_damaged_page_is_whole_and_every_byte_as_it_was(small_run, tmp_path, capsys, monkeypatch):
    folder = tmp_path / "p"
    shutil.copytree(small_run.folder, folder, symlinks=True)
    latest = folder / "published" / "latest"
    before = digest_of(latest)
    page = latest / "sites.html"
    page.write_bytes(page.read_bytes()[:-100])
    assert main(["run", str(folder), "--as-of", "2026-01-15"]) == 3
    said = capsys.readouterr().out
    assert "note  published/latest was not as it had been written (1 file: sites.html), and is again\n" in said
    assert "nothing new" not in said and digest_of(latest) == before
    log = "".join(path.read_text(encoding="utf-8") for path in (folder / "store" / "log").iterdir())
    assert '"event": "publication_mended"' in log

    def made_anew():
        raise AssertionError("the script was made before, by this very program")

    written = (latest / "index.html").stat().st_mtime_ns
    monkeypatch.setattr(bundle, "vega_bundle", made_anew)
    assert main(["run", str(folder), "--as-of", "2026-01-15", "--publish-again"]) == 3
    assert "nothing new" not in capsys.readouterr().out and digest_of(latest) == before
    assert (latest / "index.html").stat().st_mtime_ns > written


def test_files_that_are_held_again_leave_results_as_they_are_and_one_that_is_not_does_not(
    small_run, tmp_path, monkeypatch
):
    folder = tmp_path / "p"
    shutil.copytree(small_run.folder, folder, symlinks=True)
    asked = []
    monkeypatch.setattr(building, "build_of_periods", lambda *_, **__: asked.append(1))
    run = ["run", str(folder), "--as-of", "2026-01-15"]
    assert main(run) == 3 and asked == []
    with small_run.store() as store:
        site, name = store.rows("select site, name from ledger.file where state <> 'accepted' order by all")[0]
    file = folder / "inbox" / site / name
    (file.parent / f"again-{name}").write_bytes(file.read_bytes() + b"\n")  # one more of its kind
    assert main(run) == 3 and asked == [1]
    assert main(run) == 3 and asked == [1]


@pytest.mark.parametrize("name", ["again", "Stand [1] ä * weight=88", "month=3"])
def test_the_same_inputs_and_day_give_the_same_bytes_in_a_fresh_store(small_run, tmp_path, name):
    """Also under a name whose signs stand for other names where a pattern is read."""
    again = bare_copy(small_run, tmp_path / name)
    main(["run", str(again), "--as-of", "2026-01-15"])
    assert digest_of(again / "published" / "latest") == digest_of(small_run.folder / "published" / "latest")


def test_a_folder_under_which_the_store_cannot_work_is_told_before_anything_is_read(small_run, tmp_path, capsys):
    again = bare_copy(small_run, tmp_path / "which?")
    assert main(["run", str(again), "--as-of", "2026-01-15"]) == 1
    assert "a ? in the path" in capsys.readouterr().err and not (again / "published").exists()


def test_files_that_arrive_in_two_instalments_give_the_same_figures(small_run, tmp_path):
    # Corrections depend on the order of receipt, so the later file of each site arrives later here too.
    late = bare_copy(small_run, tmp_path / "late")
    waiting = tmp_path / "waiting"
    for site in sorted((late / "inbox").iterdir()):
        last = sorted(site.iterdir())[-1]
        (waiting / site.name).mkdir(parents=True)
        shutil.move(last, waiting / site.name / last.name)
    main(["run", str(late), "--as-of", "2026-01-15"])
    for site in waiting.iterdir():
        for path in site.iterdir():
            shutil.move(path, late / "inbox" / site.name / path.name)
    main(["run", str(late), "--as-of", "2026-01-15"])
    for table in ("prevalence", "percentile"):
        found, expected = (
            (folder / "published" / "latest" / "data" / f"{table}.csv").read_bytes()
            for folder in (late, small_run.folder)
        )
        assert found == expected


@pytest.mark.parametrize("seconds", [0.8, 1.6, 2.4, 3.2])
def test_a_run_killed_half_way_is_made_good_by_the_next(small_run, tmp_path, seconds):
    killed = bare_copy(small_run, tmp_path / "killed")
    running = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "run", str(killed), "--as-of", "2026-01-15"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    time.sleep(seconds)
    running.send_signal(signal.SIGKILL)
    running.wait()
    main(["run", str(killed), "--as-of", "2026-01-15"])
    assert counted(killed) == counted(small_run.folder)
    assert digest_of(killed / "published" / "latest") == digest_of(small_run.folder / "published" / "latest")


def test_two_runs_at_once_are_refused_with_a_clear_line(small_run, capsys):
    code = (
        "import sys, time\nfrom pathlib import Path\nfrom pipeline.store import Store\n"
        "with Store.open(Path(sys.argv[1])): print('open', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", code, str(small_run.folder / "store" / "evenbeam.duckdb")],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert holder.stdout.readline() == "open\n"
        assert main(["run", str(small_run.folder)]) == 1
        message = capsys.readouterr().err
        assert "store in use" in message and str(holder.pid) in message and "next:" in message
    finally:
        holder.kill()
        holder.wait()


def test_status_tells_where_every_row_went(small_run, capsys):
    assert main(["status", str(small_run.folder), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["run"]["outcome"] == "finished_with_held_files"
    assert {file["site"] for file in found["files"]} == set(found["sites"])
    assert all(
        file["rows_read"]
        == file["rows_accepted"] + file["rows_held"] + file["rows_duplicate"] + file["rows_superseded"]
        for file in found["files"]
    )


def test_status_shows_each_held_row_with_its_line_and_reason(small_run, capsys):
    with small_run.store() as store:
        site, line, code = store.rows(
            "select site, line, codes[1] from ledger.held_row join ledger.file using (file_id) order by all limit 1"
        )[0]
    assert main(["status", str(small_run.folder), "--site", site, "--held"]) == 0
    shown = capsys.readouterr().out
    assert f"line {line}" in shown and code in shown


def test_a_figure_can_be_walked_back_to_its_readings(small_run, capsys):
    with small_run.store() as store:
        figures = store.frame(
            "select banding, band, site, period, sex, age_from, age_to, n from result.prevalence order by all"
        )
    # every banding, sites and all sites, the sexes and both: a spread of cells, always the same ones
    for row in figures.filter(pl.col("n") > 0).gather_every(max(1, figures.height // 60)).to_dicts():
        arguments = ["trace", str(small_run.folder), "--banding", row["banding"], "--band", row["band"]]
        arguments += ["--period", row["period"], "--sex", row["sex"]]
        arguments += ["--ages", f"{row['age_from']}-{row['age_to']}"]
        arguments += ["--site", row["site"]] if row["site"] else []
        assert main(arguments) == 0
        lines = capsys.readouterr().out.splitlines()
        assert len(lines) - 1 == row["n"], row


def test_a_traced_line_is_the_line_of_the_file(small_run, capsys):
    with small_run.store() as store:
        site, file, line, weight = store.rows(
            "select a.site, f.name, a.line, a.weight_kg from reading.accepted a join ledger.file f using (file_id) "
            "where f.name like '%.csv' and f.encoding like 'utf%8%' and a.weight_kg = round(a.weight_kg, 1) "
            "order by a.reading_id limit 1"
        )[0]
    text = (small_run.folder / "inbox" / site / file).read_text(encoding="utf-8-sig").splitlines()[line - 1]
    assert f"{weight:.1f}" in text.replace(",", ".") or f"{weight:g}" in text.replace(",", ".")


def test_ages_of_which_no_figure_is_made_are_not_traced(small_run, capsys):
    """One year off, and two ends of different groups: readings there are, and no figure that they stand behind."""
    arguments = ["trace", str(small_run.folder), "--banding", "bmi_adult", "--band", "normal", "--period", "2024Q1"]
    for ages in ("20-98", "25-34"):
        assert main([*arguments, "--ages", ages]) == 2
        shown = capsys.readouterr()
        assert f"no figure of ages {ages}" in shown.err and shown.out == ""
    assert main([*arguments, "--ages", "20-98"]) == 2
    assert "the nearest are 20-99, " in capsys.readouterr().err


@pytest.mark.parametrize(
    ("option", "value", "expected"),
    [("--banding", "bmi_adlt", "did you mean bmi_adult?"), ("--band", "nromal", "did you mean normal?")],
)
def test_a_misspelt_name_offers_the_nearest(small_run, capsys, option, value, expected):
    arguments = ["trace", str(small_run.folder), "--banding", "bmi_adult", "--band", "normal"]
    arguments += ["--period", "2024Q1", "--ages", "20-99"]
    arguments[arguments.index(option) + 1] = value
    assert main(arguments) == 2
    assert expected in capsys.readouterr().err
