"""The programme folder as a whole: counts, formats, settings, and the same bytes for the same seed."""

from __future__ import annotations

import codecs
import hashlib
import zipfile

import polars as pl
import pytest
from cohort_files import Demo, text_of_file

from pipeline import measures
from synthetic_cohort.__main__ import main
from synthetic_cohort.faults import FaultRates
from synthetic_cohort.generate import generate
from synthetic_cohort.layouts import LAYOUTS
from synthetic_cohort.places import MOST_SITES, places, shares
from synthetic_cohort.truth_columns import NOTICE, TABLES


def _digests(demo: Demo) -> dict[str, str]:
    return {
        str(path.relative_to(demo.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(demo.folder.rglob("*"))
        if path.is_file()
    }


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(tmp_path):
    first, second, other = (
        Demo.made(tmp_path / name, readings=1200, sites=17, quarters=3, seed=seed)
        for name, seed in (("first", 7), ("second", 7), ("other", 8))
    )
    assert _digests(first) == _digests(second)
    with_rows = {
        digest
        for name, digest in _digests(first).items()
        if name.startswith("inbox") and "_extra" not in name and "_late" not in name
    }
    assert len(with_rows) > 40 and not with_rows & set(_digests(other).values())


def test_a_demo_written_over_an_earlier_one_leaves_nothing_of_it_but_keeps_store_and_releases(tmp_path):
    demo = Demo.made(tmp_path / "demo", readings=300, sites=5, quarters=3)
    (demo.folder / "store").mkdir()
    (demo.folder / "store" / "kept").write_text("kept")
    generate(demo.folder, readings=200, sites=2, quarters=2)
    fresh = Demo.made(tmp_path / "fresh", readings=200, sites=2, quarters=2)
    again = _digests(demo)
    assert again.pop("store/kept")
    assert again == _digests(fresh)


def test_a_folder_that_holds_something_else_is_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("not a demo")
    with pytest.raises(FileExistsError, match="new or empty folder"):
        generate(tmp_path, readings=10)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


@pytest.mark.parametrize(
    ("readings", "sites", "quarters"), [(1, 1, 1), (10, 24, 8), (777, 30, 2), (500, 1, 8)]
)
def test_there_are_exactly_as_many_readings_as_asked_for(tmp_path, readings, sites, quarters):
    demo = Demo.made(tmp_path / "demo", readings=readings, sites=sites, quarters=quarters)
    extra = demo.table("faults").filter(pl.col("kind").is_in(["duplicated_row", "corrected_row"])).height
    assert demo.table("readings").height - extra == readings
    assert demo.table("people")["readings"].sum() == demo.table("sites")["readings"].sum() == readings
    assert demo.table("sites").height == len(demo.programme.sites) == sites


def test_every_row_of_a_file_is_in_the_truth_and_nothing_else(faulty):
    in_files = {key for key in faulty.rows if "sent_again" not in key[1]}
    in_truth = set(faulty.table("readings").select("site", "file", "line").iter_rows())
    totals = set(
        faulty.table("faults")
        .filter(pl.col("kind") == "totals_row")
        .select("site", "file", "line")
        .iter_rows()
    )
    assert totals and in_files == in_truth | totals


def test_files_are_those_of_the_truth_and_count_their_rows(faulty):
    files = faulty.table("files")
    on_disk = {(path.parent.name, path.name) for path in faulty.programme.inbox.rglob("*") if path.is_file()}
    assert set(files.select("site", "file").iter_rows()) == on_disk
    counted: dict[tuple[str, str], int] = {}
    for site, file, _ in faulty.rows:
        counted[site, file] = counted.get((site, file), 0) + 1
    assert {
        key: n
        for *key_parts, n in files.select("site", "file", "rows").iter_rows()
        if n and (key := tuple(key_parts))
    } == counted


def test_every_profile_is_valid_and_every_format_unit_and_way_of_writing_is_there(sound):
    profiles = list(sound.programme.profiles.values())  # reading the programme validated each
    assert len(profiles) == 24 and len({profile.sha256 for profile in profiles}) == len(LAYOUTS)
    assert {profile.format for profile in profiles} == {"csv", "tsv", "xlsx", "ndjson", "parquet"}
    columns = [column for profile in profiles for column in profile.columns.items()]
    units = {column.unit for _, column in columns}
    assert {"cm", "m", "[in_i]", "kg", "[lb_av]", "a", "mo", "kcal/d", "kJ/d"} <= units
    assert {column.scope for name, column in columns if name == "participant"} == {"programme", "site"}
    assert any(column.written_units for _, column in columns)
    assert {profile.decimal for profile in profiles} == {".", ","}
    assert any(profile.thousands for profile in profiles) and any(
        profile.header_row > 1 for profile in profiles
    )
    formats = {column.format for name, column in columns if name == "measured_on"}
    assert None in formats and len(formats) >= 9
    assert {name for name, _ in columns} == set(measures.FIELDS)
    required = {name for name, field in measures.FIELDS.items() if field.is_required}
    assert any(set(profile.columns) == required for profile in profiles)


def test_every_encoding_is_there(sound):
    found = set()
    for path in sound.programme.inbox.rglob("*"):
        if path.suffix in (".csv", ".tsv"):
            content = path.read_bytes()
            if content.startswith(codecs.BOM_UTF8):
                found.add("utf-8 with mark")
            elif content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
                found.add("utf-16")
            else:
                try:
                    content.decode("utf-8")
                    found.add("utf-8")
                except UnicodeDecodeError:
                    found.add("latin-1")
        elif path.suffix == ".gz":
            found.add("gzip")
    assert found == {"utf-8", "utf-8 with mark", "utf-16", "latin-1", "gzip"}


def test_packed_files_carry_no_time_of_writing(sound):
    """Nothing else would show it when two runs fall into the same second."""
    packed = list(sound.programme.inbox.rglob("*.gz"))
    assert packed and all(path.read_bytes()[4:8] == bytes(4) for path in packed)  # RFC 1952: the time field
    books = list(sound.programme.inbox.rglob("*.xlsx"))
    assert books
    for path in books:
        with zipfile.ZipFile(path) as book:
            assert b"2026-01-01T00:00:00Z" in book.read("docProps/core.xml")
            assert {entry.date_time[0] for entry in book.infolist()} == {1980}


def test_lines_of_a_file_end_as_its_site_ends_them(sound):
    school = sound.programme.inbox / "beacon-hill" / "2024Q1.csv"
    gym = sound.programme.inbox / "north-quay" / "2024Q1.csv"
    assert school.read_bytes().count(b"\r\n") == school.read_bytes().count(b"\n") > 0
    assert b"\r" not in gym.read_bytes() and text_of_file(gym, None).endswith("\n")


def test_truth_has_the_columns_that_its_readme_describes(faulty):
    assert {name: faulty.table(name).columns for name in TABLES} == {
        name: list(table.columns) for name, table in TABLES.items()
    }
    readme = (faulty.folder / "truth" / "README.md").read_text(encoding="utf-8")
    assert NOTICE in readme and NOTICE in (faulty.folder / "programme.toml").read_text(encoding="utf-8")
    assert all(f"`{column}`" in readme for table in TABLES.values() for column in table.columns)


def test_truth_of_readings_is_written_in_parts(tmp_path, monkeypatch):
    monkeypatch.setattr("synthetic_cohort.table_parts.ROWS_A_PART", 100)
    demo = Demo.made(tmp_path / "demo", readings=1000, sites=3, quarters=4)
    parts = sorted((demo.folder / "truth" / "readings").iterdir())
    assert len(parts) > 3 and parts[0].name == "part-00001.parquet"
    assert demo.table("readings").height == sum(pl.read_parquet(part).height for part in parts) >= 1000
    assert not (demo.folder / "truth" / "people").exists()


def test_site_ids_and_names_differ_up_to_the_most_sites():
    all_places = places(MOST_SITES, 8)
    assert (
        len({place.id for place in all_places})
        == len({place.name for place in all_places})
        == MOST_SITES
        == 624
    )
    with pytest.raises(ValueError, match="there are names for 1 to 624"):
        places(MOST_SITES + 1, 8)


@pytest.mark.parametrize("readings", [1, 23, 60_000, 9_999_999])
def test_shares_of_the_sites_add_up_exactly(readings):
    counts = shares(places(24, 8), readings)
    assert sum(counts) == readings and min(counts) >= 0


@pytest.mark.parametrize("settings", [{"readings": 0}, {"sites": 0}, {"quarters": 0}])
def test_a_size_that_makes_no_programme_is_refused_before_anything_is_written(tmp_path, settings):
    with pytest.raises(ValueError, match=r"0 (readings|sites|quarters)"):
        generate(tmp_path / "demo", **{"readings": 10, **settings})
    assert not (tmp_path / "demo").exists()


def test_fault_rates_that_leave_no_room_are_refused():
    with pytest.raises(ValueError, match="at most 1"):
        FaultRates(wrong_sex=0.6, decimal_slip=0.6)
    with pytest.raises(ValueError, match="at least 0"):
        FaultRates(wrong_sex=-0.1)


def test_the_command_says_what_to_run_next(tmp_path, capsys):
    folder = tmp_path / "demo"
    assert main([str(folder), "--readings", "60", "--sites", "2", "--quarters", "2", "--no-faults"]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines()[-1] == f"next: evenbeam run {folder / 'programme.toml'}"
    assert "2/2" in said.err
    assert Demo(folder).table("faults").height == 0


def test_the_command_refuses_a_bad_number_with_exit_code_2(tmp_path, capsys):
    with pytest.raises(SystemExit) as stopped:
        main([str(tmp_path / "demo"), "--readings", "many"])
    assert stopped.value.code == 2
    assert "found many; expected a whole number of at least 1" in capsys.readouterr().err
