"""A seeded few hundred of the cases of tests/benchmarks/hostile_input.py. Mechanics: nothing may come of them but
acceptance with an account that adds up, or one clear message."""

import pytest
from hostile_cases import case_of
from hostile_trial import Finding, Trial

from pipeline.faults import Fault

CASES = 400


def test_no_case_does_more_than_be_taken_or_be_refused(tmp_path):
    trial, doors, outcomes = Trial(tmp_path), set(), set()
    for number in range(CASES):
        case = case_of(number)
        doors.add((case.kind, case.door))
        outcomes.add(trial.outcome(case))
    trial.close()
    assert len(doors) > 15 and {"read", "accepted", "sealed", "settings fault", "held: damaged"} <= outcomes


def test_a_case_is_the_same_whenever_it_is_made():
    assert [case_of(number) for number in (3, 4)] == [case_of(number) for number in (3, 4)] and case_of(
        3
    ) != case_of(4)


@pytest.mark.parametrize(
    ("does", "said"),
    [
        (lambda case: 1 / 0, "ZeroDivisionError"),
        (lambda case: (_ for _ in ()).throw(Fault("held", where="a\x1b[2Jb")), "says too little"),
        (lambda case: (_ for _ in ()).throw(Fault("held", next="go on" * 2000)), "a message of"),
    ],
)
def test_a_crash_and_a_message_that_is_none_are_findings(tmp_path, monkeypatch, does, said):
    trial, case = Trial(tmp_path), case_of(0)
    monkeypatch.setattr(trial, f"_{case.door}", does)
    with pytest.raises(Finding, match=said):
        trial.outcome(case)
    trial.close()


def test_a_case_that_takes_too_long_is_a_finding(tmp_path, monkeypatch):
    trial, case = Trial(tmp_path), case_of(0)
    monkeypatch.setattr("hostile_trial.MOST_SECONDS", 0.05)

    def never(case):
        while True:
            pass

    monkeypatch.setattr(trial, f"_{case.door}", never)
    with pytest.raises(Finding, match="more than"):
        trial.outcome(case)
    trial.close()
