import numpy as np
import pytest

from pipeline.statistics.cusum import cusum, decision_for, run_length


def column(*scores):
    return np.array(scores, dtype=float)[:, None]


def test_sums_follow_the_rule_by_hand():
    chart = cusum(column(1, 1, -3, 0.5), 0.5, 4)
    assert chart.upper[:, 0].tolist() == [0.5, 1.0, 0.0, 0.0]
    assert chart.lower[:, 0].tolist() == [0.0, 0.0, 2.5, 1.5]
    assert not chart.is_alarm.any()


def test_the_limit_itself_is_no_alarm_and_a_hair_more_is():
    assert not cusum(column(4.5), 0.5, 4).is_alarm.any()
    assert cusum(column(4.5 + 1e-9), 0.5, 4).is_alarm.all()
    assert cusum(column(-4.5 - 1e-9), 0.5, 4).is_alarm.all()


def test_sums_start_again_after_an_alarm():
    chart = cusum(column(5, 1), 0.5, 4)
    assert chart.upper[:, 0].tolist() == [4.5, 0.5]
    assert chart.is_alarm[:, 0].tolist() == [True, False]


def test_a_time_without_a_score_changes_nothing_and_devices_do_not_mix():
    chart = cusum(np.array([[2, 0], [np.nan, 5], [2, 0]]), 0.5, 4)
    assert chart.upper[:, 0].tolist() == [1.5, 1.5, 3.0]
    assert chart.is_alarm.tolist() == [[False, False], [False, True], [False, False]]


@pytest.mark.parametrize("wanted", [50, 465, 20_000])
def test_the_decision_gives_the_run_length_asked_for(wanted):
    assert run_length(0.5, decision_for(0.5, wanted)) == pytest.approx(wanted, rel=1e-6)


# 2,000 analysers with scores as they should be: the mean run length, within four standard errors.
def test_simulated_run_lengths_agree():
    decision = decision_for(0.5, 60)
    alarms = cusum(np.random.default_rng(6).standard_normal((1200, 2000)), 0.5, decision).is_alarm
    first = np.where(alarms.any(axis=0), alarms.argmax(axis=0) + 1, 1200)
    assert first.mean() == pytest.approx(60, abs=4 * 60 / np.sqrt(2000))


@pytest.mark.parametrize(("reference", "decision"), [(0, 4), (0.5, 0)])
def test_a_reference_or_decision_that_is_not_above_0_is_refused(reference, decision):
    with pytest.raises(ValueError, match="both above 0 are expected"):
        cusum(column(1), reference, decision)


@pytest.mark.parametrize("wanted", [9, 2e7])
def test_a_run_length_out_of_reach_is_refused(wanted):
    with pytest.raises(ValueError, match="10 to 10 million scores"):
        decision_for(0.5, wanted)
