"""Which age groups a page offers, and what it calls them: mechanics."""

from __future__ import annotations

from pathlib import Path

from dashboards.axes import age_axis, age_spans, ages_and_whole, single_ages, widest_adult
from dashboards.release import Release

GROUPS = [
    (5, 9, False),
    (15, 19, False),
    (20, 29, False),
    (80, 89, False),
    (5, 19, True),
    (20, 99, True),
    (5, 99, True),
]
RELEASE = Release(Path("nowhere"), {
    "age_groups": [{"age_from": a, "age_to": b, "is_total": total} for a, b, total in GROUPS]})  # fmt: skip


def spans(age_from, age_to):
    return age_spans(RELEASE, {"age_from": age_from, "age_to": age_to})


def test_a_group_is_called_by_the_ages_that_can_be_in_it():
    assert age_axis(spans(20, 79)).labels == ("20–29", "20–79")


def test_a_group_that_begins_before_the_banding_is_not_offered():
    # its rows would be the 18- and 19-year-olds alone; the release has none
    assert age_axis(spans(18, 99)).labels == ("20–29", "80–89", "20–99")


def test_a_banding_without_a_group_of_its_own_is_offered_in_those_that_reach_it():
    only = Release(Path("nowhere"), {"age_groups": [{"age_from": 5, "age_to": 99, "is_total": False}]})
    assert age_spans(only, {"age_from": 18, "age_to": 99}) == {"5-99": (18, 99)}


def test_groups_that_come_to_the_same_ages_are_offered_once():
    found = spans(20, 79)
    assert (20, 79) in found.values()
    assert list(found.values()).count((20, 79)) == 1
    assert "5-99" not in found


def test_a_page_opens_with_the_widest_adult_group_or_the_widest_of_all():
    assert widest_adult(spans(5, 99)) == "20-99"
    assert widest_adult(spans(18, 99)) == "20-99"
    assert widest_adult(spans(5, 19)) == "5-19"


def test_totals_follow_the_single_groups():
    assert single_ages(RELEASE, spans(5, 99)) == ("5-9", "15-19", "20-29", "80-89")
    assert ages_and_whole(RELEASE, spans(5, 99))[-1] == "20-99"
