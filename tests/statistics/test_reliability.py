import numpy as np
import pytest

from pipeline.statistics.reliability import flag, nchs_reliability


def judged(count=200, people=1000, effective=1000, low=0.18, high=0.22, freedom=23.0):
    status, reason = nchs_reliability([count], [people], [effective], [low], [high], [freedom])
    return status[0], reason[0]


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"people": 30, "effective": 30, "count": 10}, "present"),
        ({"people": 29, "effective": 29, "count": 10}, "suppress"),
        ({"effective": 30}, "present"),
        ({"effective": 29.9}, "suppress"),
        ({"effective": np.nan}, "suppress"),
        ({"low": 0.06, "high": 0.3599, "count": 500}, "present"),
        ({"low": 0.06, "high": 0.36, "count": 500}, "suppress"),
        ({"count": 1, "low": 0, "high": 0.05}, "present"),
        ({"count": 1, "low": 0, "high": 0.0501}, "suppress"),
        ({"freedom": 8}, "present"),
        ({"freedom": 7}, "review"),
        ({"freedom": np.inf}, "present"),
        ({"count": 0, "low": 0, "high": 0.004}, "review"),
        ({"count": 1000, "low": 0.996, "high": 1}, "review"),
        ({"count": 960, "low": 0.93, "high": 0.98}, "present"),
        ({"count": 960, "low": 0.92, "high": 0.98}, "footnote"),
        ({"low": np.nan, "high": np.nan}, "suppress"),
    ],
)
def test_each_rule_turns_at_its_edge(change, status):
    assert judged(**change)[0] == status


def test_the_first_broken_rule_is_the_reason():
    assert judged(people=20, effective=20, count=0, low=0, high=0.9, freedom=2) == (
        "suppress",
        "fewer than 30 people",
    )
    assert judged() == ("present", "")


def test_only_what_the_standard_would_not_show_is_flagged():
    assert flag(np.array(["present", "footnote", "review", "suppress"])).tolist() == [
        "",
        "",
        "",
        "unreliable",
    ]
