"""Planted faults: each stands where the truth says, and does what its kind says."""

from __future__ import annotations

from dataclasses import fields

import polars as pl
import pytest
from cohort_files import number, rows_of_file, text_of_file

from synthetic_cohort.faults import KINDS, ROW_KINDS, FaultRates


@pytest.fixture(scope="module")
def faults(faulty) -> pl.DataFrame:
    return faulty.table("faults")


def _of_kind(faulty, faults, kind):
    """(fault, its row in the file, the site's profile) for every fault of a kind."""
    found = [
        (
            fault,
            faulty.rows[fault["site"], fault["file"], fault["line"]],
            faulty.programme.profiles[fault["site"]],
        )
        for fault in faults.filter(pl.col("kind") == kind).to_dicts()
    ]
    assert len(found) >= 3, f"only {len(found)} of {kind}"
    return found


def _value(row, field, profile):
    if profile.columns[field].written_units:
        big, first, small, _ = row[field].split()
        return float(big) * (14 if first == "st" else 12) + float(small)
    return number(row[field], profile)


def test_every_kind_is_there_and_readings_name_the_same_faults(faulty, faults):
    assert set(faults["kind"]) == set(KINDS) - {""}
    named = faulty.table("readings").filter(pl.col("fault") != "").select("site", "file", "line", "fault")
    planted = faults.filter(pl.col("kind") != "totals_row").select("site", "file", "line", "kind")
    assert set(named.iter_rows()) == set(planted.iter_rows())
    assert named.height == planted.height  # at most one a row


@pytest.mark.parametrize(
    "kind",
    [
        "height_inches_in_cm",
        "weight_pounds_in_kg",
        "impossible_value",
        "decimal_slip",
        "weight_height_swapped",
        "corrected_row",
    ],
)
def test_what_was_found_stands_at_the_line_and_differs_from_what_is_true(faulty, faults, kind):
    for fault, row, profile in _of_kind(faulty, faults, kind):
        assert _value(row, fault["field"], profile) == pytest.approx(float(fault["found"]), abs=1e-9)
        assert float(fault["found"]) != float(fault["true"])


def test_swapped_rows_have_the_weight_in_the_height_and_the_other_way_round(faulty, faults):
    for fault, row, profile in _of_kind(faulty, faults, "weight_height_swapped"):
        assert fault["field"] == "weight"
        assert number(row["height"], profile) == float(fault["true"])


def test_inches_and_pounds_stand_in_metric_columns(faulty, faults):
    for fault, _, profile in _of_kind(faulty, faults, "height_inches_in_cm"):
        assert profile.columns["height"].unit == "cm"
        assert float(fault["found"]) * 2.54 == pytest.approx(float(fault["true"]), abs=1.28)
    for fault, _, profile in _of_kind(faulty, faults, "weight_pounds_in_kg"):
        assert profile.columns["weight"].unit == "kg"
        assert float(fault["found"]) * 0.45359237 == pytest.approx(float(fault["true"]), abs=0.06)


def test_a_decimal_slip_is_ten_times_too_much(faulty, faults):
    for fault, _, _ in _of_kind(faulty, faults, "decimal_slip"):
        assert float(fault["found"]) == pytest.approx(10 * float(fault["true"]))


def test_an_impossible_value_is_0_or_9999(faulty, faults):
    assert {float(fault["found"]) for fault, _, _ in _of_kind(faulty, faults, "impossible_value")} == {
        0.0,
        9999.0,
    }


def test_a_missing_required_field_is_missing_and_each_of_the_six_is(faulty, faults):
    found = _of_kind(faulty, faults, "missing_required")
    for fault, row, profile in found:
        assert row[fault["field"]] is None or row[fault["field"]] in profile.missing
    assert {fault["field"] for fault, _, _ in found} == {
        "participant",
        "measured_on",
        "sex",
        "age",
        "height",
        "weight",
    }


def test_forgotten_clothing_prints_0_and_a_weight_that_is_too_high(faulty, faults):
    found = _of_kind(faulty, faults, "clothing_weight_forgotten")
    exported = [
        number(row["clothing_weight"], profile) for _, row, profile in found if "clothing_weight" in row
    ]
    assert exported and set(exported) == {0.0}
    readings = faulty.table("readings").filter(pl.col("fault").is_in(["", "clothing_weight_forgotten"]))
    excess = {}
    for site, file, line, true_kg, fault in readings.select(
        "site", "file", "line", "weight_kg", "fault"
    ).iter_rows():
        row, profile = faulty.rows[site, file, line], faulty.programme.profiles[site]
        if profile.columns["weight"].unit == "kg" and site not in ("east-pier", "lockside-fitness"):
            excess.setdefault(fault, []).append(number(row["weight"], profile) - true_kg)
            if fault == "" and "clothing_weight" in row:
                assert number(row["clothing_weight"], profile) >= 0.5  # so that 0.0 stands out
    forgotten, usual = (pl.Series(excess[fault]).mean() for fault in ("clothing_weight_forgotten", ""))
    assert forgotten - usual == pytest.approx(1.0, abs=0.1)


def test_a_wrong_sex_differs_from_the_persons_other_rows(faulty, faults):
    readings = faulty.table("readings")
    for fault, row, profile in _of_kind(faulty, faults, "wrong_sex"):
        codes = profile.columns["sex"].codes
        assert codes[row["sex"]] == fault["found"] != fault["true"]
        others = readings.filter((pl.col("person") == fault["person"]) & (pl.col("site") == fault["site"]))
        assert others.height >= 3 and (others["sex"] == fault["true"]).all()


def test_a_wrong_athlete_mode_is_not_what_heart_rate_and_training_say(faulty, faults):
    for fault, row, profile in _of_kind(faulty, faults, "wrong_athlete_mode"):
        assert profile.columns["athlete_mode"].codes[row["athlete_mode"]] == fault["found"]
        trains = (
            number(row["cardio_hours_per_week"], profile) > 10
            and number(row["resting_heart_rate"], profile) < 60
        )
        assert trains == (fault["found"] == "no")


def test_athlete_mode_of_sound_rows_is_what_heart_rate_and_training_say(sound):
    seen = set()
    for (site, _, _), row in sound.rows.items():
        profile = sound.programme.profiles[site]
        if "athlete_mode" in row:
            mode = profile.columns["athlete_mode"].codes[row["athlete_mode"]]
            trains = (
                number(row["cardio_hours_per_week"], profile) > 10
                and number(row["resting_heart_rate"], profile) < 60
            )
            assert trains == (mode == "yes")
            seen.add(mode)
    assert seen == {"yes", "no"}


def test_a_duplicated_row_is_an_exact_copy_of_an_earlier_one(faulty, faults):
    places = set()
    for fault, row, _ in _of_kind(faulty, faults, "duplicated_row"):
        assert row == faulty.rows[fault["site"], fault["other_file"], fault["other_line"]]
        assert (fault["other_file"], fault["other_line"]) < (fault["file"], fault["line"])
        places.add(fault["other_file"] == fault["file"])
    assert places == {True, False}  # in the same file and in the next


def test_a_corrected_row_differs_from_its_later_correction_in_the_one_field(faulty, faults):
    places = set()
    for fault, row, profile in _of_kind(faulty, faults, "corrected_row"):
        correction = faulty.rows[fault["site"], fault["other_file"], fault["other_line"]]
        assert {name for name in row if row[name] != correction[name]} == {fault["field"]}
        assert _value(correction, fault["field"], profile) == pytest.approx(float(fault["true"]), abs=1e-9)
        assert (fault["other_file"], fault["other_line"]) > (fault["file"], fault["line"])
        places.add(fault["other_file"] == fault["file"])
    assert places == {True, False}


def test_slips_leave_the_rest_of_the_row_as_the_analyser_printed_it(faulty, faults):
    """A slip of the pen in the weight leaves fat mass and fat-free mass, which still tell the true weight."""
    checked = 0
    for kind in ("weight_pounds_in_kg", "decimal_slip", "weight_height_swapped"):
        for fault, row, profile in _of_kind(faulty, faults, kind):
            if row.get("fat_free_mass") is not None:
                parts = number(row["fat_mass"], profile) + number(row["fat_free_mass"], profile)
                assert parts == pytest.approx(float(fault["true"]), abs=1e-9)
                checked += 1
    assert checked > 10


# ---- files ----------------------------------------------------------------------------------------------------


def _files(faulty, fault):
    files = faulty.table("files").filter(pl.col("fault") == fault).to_dicts()
    assert files
    return [
        (file, faulty.programme.inbox / file["site"] / file["file"], faulty.programme.profiles[file["site"]])
        for file in files
    ]


def test_a_cut_off_file_ends_in_the_middle_of_the_line_that_the_truth_names(faulty, faults):
    for file, path, profile in _files(faulty, "cut_off"):
        text = text_of_file(path, profile.encoding)
        lines = text.splitlines()
        line = faults.filter(
            (pl.col("kind") == "cut_off_line")
            & (pl.col("site") == file["site"])
            & (pl.col("file") == file["file"])
        )["line"].item()
        assert line == len(lines) and not text.endswith("\n")
        assert 0 < len(lines[-1]) < 0.6 * len(lines[-2])


def test_a_totals_row_is_the_last_line_and_holds_the_sum_of_the_weights(faulty, faults):
    for file, path, profile in _files(faulty, "totals"):
        rows = rows_of_file(path, profile)
        last = max(rows)
        fault = faults.filter(
            (pl.col("kind") == "totals_row")
            & (pl.col("site") == file["site"])
            & (pl.col("file") == file["file"])
        ).to_dicts()[0]
        assert (fault["line"], fault["person"], file["rows"]) == (last, None, len(rows))
        weights = [number(row["weight"], profile) for line, row in rows.items() if line != last]
        assert number(rows[last]["weight"], profile) == pytest.approx(sum(filter(None, weights)), abs=0.06)


def test_empty_files_and_files_of_headers_hold_no_rows(faulty):
    for file, path, _ in _files(faulty, "empty"):
        assert path.read_bytes() == b"" and (file["expected"], file["rows"]) == ("held", 0)
    for file, path, profile in _files(faulty, "header_only"):
        assert len(text_of_file(path, profile.encoding).splitlines()) == profile.header_row
        assert (file["expected"], file["rows"]) == ("held", 0)


def test_a_file_sent_again_has_the_bytes_of_one_that_comes_before_it(faulty):
    for file, path, _ in _files(faulty, "sent_again"):
        first = path.with_name(path.name.replace("_sent_again", ""))
        assert first.read_bytes() == path.read_bytes() and first.name < path.name
        assert file["expected"] == "already_received"


def test_rows_of_a_file_with_identifiers_stand_in_no_other_file(faulty):
    readings = faulty.table("readings")
    for file, path, profile in _files(faulty, "identifiers"):
        assert file["expected"] == "refused"
        lines = text_of_file(path, profile.encoding).splitlines()[profile.header_row - 1 :]
        assert lines[0].endswith("E-mail") and all(line.endswith("@example.org") for line in lines[1:])
        inside = readings.filter((pl.col("site") == file["site"]) & (pl.col("file") == file["file"]))
        assert inside.height == len(lines) - 1 == file["rows"] > 0
        elsewhere = readings.filter(pl.col("file") != file["file"])
        assert inside.join(elsewhere, on=["person", "measured_at"]).height == 0


def test_without_faults_there_are_none(sound):
    assert sound.table("faults").height == 0 and (sound.table("readings")["fault"] == "").all()
    assert set(sound.table("files")["expected"]) == {"accepted"}


def test_row_kinds_are_the_settings_of_the_rates():
    shares = [field for field in fields(FaultRates) if field.type == "float"]
    assert [field.name for field in shares] == list(ROW_KINDS)
    assert all(0.001 <= field.default <= 0.01 for field in shares)  # realistic, as documented
