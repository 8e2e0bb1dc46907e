"""Headers are found by name, and a fault in them holds the file."""

import pytest
from invented_site import PROFILE, csv, profile_of

from pipeline.faults import FileHeld
from pipeline.intake.headers import columns_of

HEADERS = ["Member", "Date", "Sex", "Age", "Ht", "Wt"]


@pytest.fixture
def found(tmp_path):
    def find(headers, most=500):
        return columns_of(profile_of(PROFILE, tmp_path), headers, where="north-quay/a.csv", most=most)

    return find


def test_blanks_letter_case_and_a_byte_order_mark_do_not_matter(found):
    assert found(["\ufeffMember", " date ", "SEX", "Age", "Ht", "wt"])["weight"] == 5


def test_an_exact_header_is_taken_before_one_in_another_case(found):
    assert found(["Member", "Date", "Sex", "Age", "Ht", "WT", "Wt"])["weight"] == 6


def test_a_missing_header_names_the_nearest(found):
    with pytest.raises(FileHeld, match="no header Wt; the nearest is W"):
        found(["Member", "Date", "Sex", "Age", "Ht", "Wtt"])


def test_a_header_twice_holds_the_file_only_if_the_profile_uses_it(found):
    assert len(found([*HEADERS, "Note", "Note"])) == 6
    with pytest.raises(FileHeld, match="the header Wt 2 times"):
        found([*HEADERS, "Wt"])


def test_more_columns_than_the_limit(found):
    assert len(found(HEADERS, most=6)) == 6
    with pytest.raises(FileHeld, match="6 columns"):
        found(HEADERS, most=5)


def test_a_line_of_values_instead_of_headers_is_not_shown(found):
    with pytest.raises(FileHeld) as fault:
        found(["Ann", "2025-02-03", "F", "35", "165.0", "65.0"])
    assert "Ann" not in str(fault.value) and "holds values" in str(fault.value)


def test_a_changed_profile_lets_a_held_file_in(house):
    house.put("a.csv", csv("m1,2025-02-03,F,35,165.0,65.0", header="Member,Date,Sex,Age,Height,Wt"))
    assert house.receive().files_held == 1
    assert house.receive().files_held == 1  # still waiting, still said
    house.profile(PROFILE.replace('"Ht"', '"Height"'))
    assert house.receive().files_accepted == 1
    assert house.files("file_id", "state", "reason_code") == [(1, "accepted", None)]
