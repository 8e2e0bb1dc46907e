"""The checks against the truth of a small demo programme, with more faults than a real one, so that each kind occurs.

The whole table, on a larger programme with realistic rates: tests/benchmarks/check_accuracy.py.
"""

import runpy
from pathlib import Path

import pytest

from synthetic_cohort.faults import FaultRates
from synthetic_cohort.generate import generate

BENCHMARK = runpy.run_path(str(Path(__file__).parents[1] / "benchmarks" / "check_accuracy.py"))
KINDS = BENCHMARK["KINDS"]
MANY = FaultRates(
    weight_height_swapped=0.01,
    height_inches_in_cm=0.01,
    weight_pounds_in_kg=0.01,
    clothing_weight_forgotten=0.02,
    wrong_sex=0.01,
    wrong_athlete_mode=0.02,
    duplicated_row=0.01,
    corrected_row=0.01,
    impossible_value=0.01,
    missing_required=0.01,
    decimal_slip=0.01,
    cut_off_files=2,
    totals_rows=2,
    empty_files=1,
    header_only_files=1,
    files_sent_again=1,
    files_with_identifiers=1,
)


@pytest.fixture(scope="module")
def rows(tmp_path_factory):
    folder = tmp_path_factory.mktemp("programme")
    generate(folder, readings=4000, sites=8, quarters=3, seed=3, faults=MANY)
    return BENCHMARK["run"](folder)


@pytest.fixture(scope="module")
def table(rows):
    return {row["fault"]: row for row in BENCHMARK["score"](rows).iter_rows(named=True)}


@pytest.mark.parametrize("kind", KINDS)
def test_at_least_95_in_100_of_the_faults_that_can_be_seen_are_caught(table, kind):
    row = table[kind]
    assert row["can_be_seen"] >= 1
    assert row["caught"] >= 0.95 * row["can_be_seen"]


@pytest.mark.parametrize("kind", [kind for kind in KINDS if KINDS[kind].codes])
def test_fewer_than_one_in_200_sound_rows_are_accused_of_it(table, kind):
    assert table[kind]["false_alarms"] < 0.005 * table[kind]["sound_rows"]


def test_sound_rows_that_do_not_count_for_whatever_reason_are_fewer_than_one_in_200(rows, table):
    lost = BENCHMARK["sound_rows_lost"](rows)
    assert lost["n"].sum() < 0.005 * table["decimal_slip"]["sound_rows"]


def test_every_row_of_every_file_that_was_read_is_scored(rows):
    assert rows.height > 3500
    assert set(rows["outcome"]) == {"accepted", "held", "set_aside", "dropped"}
    assert rows.filter(rows["fault"] == "", rows["outcome"] == "dropped").height == 0
