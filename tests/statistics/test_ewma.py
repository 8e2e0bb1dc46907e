import numpy as np
import pytest

from pipeline.statistics.ewma import ewma, run_length, width_for


def column(*scores):
    return np.array(scores, dtype=float)[:, None]


def test_the_average_follows_the_rule_by_hand():
    chart = ewma(column(1, np.nan, 2), 0.25, 3)
    assert chart.average[:, 0].tolist() == [0.25, 0.25, 0.6875]
    assert chart.limit == pytest.approx(3 * np.sqrt(0.25 / 1.75))


def test_the_limit_itself_is_no_alarm_and_a_hair_more_is():
    limit = ewma(column(0), 0.2, 3).limit
    for sign in (1, -1):
        assert not ewma(column(sign * limit / 0.2 * (1 - 1e-12)), 0.2, 3).is_alarm.any()
        assert ewma(column(sign * limit / 0.2 * (1 + 1e-12)), 0.2, 3).is_alarm.all()


def test_a_time_without_a_score_raises_no_alarm():
    assert ewma(column(9, np.nan), 0.5, 3).is_alarm[:, 0].tolist() == [True, False]


@pytest.mark.parametrize(("weight", "wanted"), [(0.05, 500), (0.1, 500), (0.2, 5000), (1.0, 370.4)])
def test_the_width_gives_the_run_length_asked_for(weight, wanted):
    assert run_length(weight, width_for(weight, wanted)) == pytest.approx(wanted, rel=1e-6)


# 2,000 analysers with scores as they should be: the mean run length, within four standard errors.
def test_simulated_run_lengths_agree():
    alarms = ewma(np.random.default_rng(7).standard_normal((1200, 2000)), 0.1, width_for(0.1, 60)).is_alarm
    first = np.where(alarms.any(axis=0), alarms.argmax(axis=0) + 1, 1200)
    assert first.mean() == pytest.approx(60, abs=4 * 60 / np.sqrt(2000))


def test_a_drift_is_found_sooner_than_by_single_scores():
    drift = np.random.default_rng(8).standard_normal((200, 400)) + np.arange(200)[:, None] * 0.02
    slow, single = (
        ewma(drift, weight, width_for(weight, 500)).is_alarm.argmax(axis=0).mean() for weight in (0.1, 1.0)
    )
    assert slow < single - 10


@pytest.mark.parametrize(("weight", "width"), [(0, 3), (0.005, 3), (1.1, 3), (0.1, 0)])
def test_a_weight_or_width_out_of_range_is_refused(weight, width):
    with pytest.raises(ValueError, match=r"a weight from 0\.01 to 1"):
        ewma(column(1), weight, width)


@pytest.mark.parametrize("wanted", [9, 2e7])
def test_a_run_length_out_of_reach_is_refused(wanted):
    with pytest.raises(ValueError, match="10 to 10 million scores"):
        width_for(0.1, wanted)
