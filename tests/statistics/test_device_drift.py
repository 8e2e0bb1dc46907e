"""Analysers by the changes of the people measured on them: invented programmes of four sites with two analysers."""

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.statistics.change_contrast import ChangeContrasts
from pipeline.statistics.cusum import decision_for
from pipeline.statistics.device_drift import USUAL, Chart, device_table

CHART = Chart(1.5, decision_for(1.5, 1000))
PERIODS = [f"202{y}Q{q}" for y in (4, 5) for q in (1, 2, 3, 4)]


def cells(
    error, *, sites=("dock", "hall", "mill", "quay"), devices=("A1", "A2"), people=150, pace=None, seed=1
):
    """Changes from one quarter to the next, sd 1 kg, by `error(site, device, quarter)` and the site's `pace`."""
    random = np.random.default_rng(seed)
    rows = []
    for site in sites:
        for quarter in range(1, len(PERIODS)):
            for one in devices:
                for other in devices:
                    n = people // len(devices)
                    mean = error(site, other, quarter) - error(site, one, quarter - 1)
                    mean += (
                        (pace or {}).get(site, 0.0) - 0.5 + 0.3 * np.cos(quarter)
                    )  # season, the same everywhere
                    change = random.normal(mean, 1.0, n)
                    rows.append((
                        "weight", site, other, PERIODS[quarter], site, one, PERIODS[quarter - 1], 1, True, n, 13.0 * n,
                        change.sum(), (change**2).sum(),
                    ))  # fmt: skip
    columns = [
        "measure",
        "site",
        "device",
        "period",
        "earlier_site",
        "earlier_device",
        "earlier_period",
        "class",
    ]
    columns += ["is_grown", "n", "weeks", "change", "change_squared"]
    return pl.DataFrame(rows, schema=columns, orient="row")


def table(of):
    return device_table(of, USUAL["weight"], CHART)


def alarms(found):
    return found.filter("is_alarm").select("site", "device", "period").rows()


def right(site, device, quarter):
    return {"A1": 0.08, "A2": -0.05}.get(device, 0.0)


def test_analysers_that_stay_as_they_are_give_no_signal():
    found = table(cells(right))
    assert alarms(found) == []
    assert found.height == 4 * 2 * 7
    assert found["score"].std() == pytest.approx(1, abs=0.35)


def test_a_kilogram_is_seen_in_its_first_period_and_measured():
    found = table(cells(lambda s, d, q: right(s, d, q) + (1.0 if (s, d) == ("mill", "A2") and q >= 4 else 0)))
    assert alarms(found) == [("mill", "A2", "2025Q1")]
    at = found.filter(
        (pl.col("site") == "mill") & (pl.col("device") == "A2") & (pl.col("period") >= "2025Q1")
    )
    assert at["difference"].to_list() == pytest.approx([0.95] * 4, abs=0.3)
    assert at.filter((pl.col("low") < 0.95) & (pl.col("high") > 0.95)).height >= 3


def test_a_fall_is_seen_as_well_as_a_rise():
    found = table(cells(lambda s, d, q: -1.0 if (s, d) == ("quay", "A1") and q >= 5 else 0))
    assert alarms(found) == [("quay", "A1", "2025Q2")]
    assert found.filter("is_alarm")["lower_sum"][0] > CHART.decision


def test_a_drift_signals_again_and_is_lasting():
    found = table(cells(lambda s, d, q: 0.5 * max(q - 3, 0) if (s, d) == ("dock", "A1") else 0, people=400))
    signals = found.filter("is_alarm")
    assert set(zip(signals["site"], signals["device"], strict=True)) == {("dock", "A1")}
    assert signals["period"][0] <= "2025Q2"  # the drift begins with 2025Q1
    assert signals["is_lasting"].to_list() == [False] + [True] * (signals.height - 1)
    assert signals.height >= 2


def test_a_site_whose_people_lose_more_is_not_taken_for_a_wrong_analyser():
    assert alarms(table(cells(right, pace={"dock": -0.8, "hall": 0.5}))) == []


def test_a_lone_analyser_may_follow_its_people():
    found = table(cells(lambda s, d, q: 0, devices=("",), pace={"dock": -1.0}))
    assert alarms(found) == []
    assert found["device"].unique().to_list() == [""]


def test_what_came_later_does_not_change_what_was_said():
    of = cells(right)
    whole, part = table(of), table(of.filter(pl.col("period") <= "2025Q1"))
    assert_frame_equal(whole.filter(pl.col("period") <= "2025Q1"), part)


def test_the_order_of_cells_does_not_matter():
    of = cells(right)
    assert_frame_equal(table(of), table(of.sample(fraction=1, shuffle=True, seed=3)))


def test_a_change_expected_by_all_is_taken_off_exactly():
    """Three sites, one class, no noise: the third site changes by 0.25 more than the others."""
    of = cells(lambda s, d, q: 0, sites=("dock", "hall", "mill"), people=200)
    even = of.with_columns(change=pl.when(pl.col("site") == "mill").then(-0.25).otherwise(-0.5) * pl.col("n"))
    contrasts = ChangeContrasts.of(even.with_columns(change_squared=pl.col("n") * 1.0))
    found = contrasts.next("2024Q2", 0.1, 0.15)
    assert [c.change for c in found["mill"]] == pytest.approx([0.25] * 4)
    assert [c.n for c in found["mill"]] == [100] * 4
    assert [c.quarters for c in found["mill"]] == pytest.approx([1.0] * 4)


def test_people_who_come_from_another_site_carry_its_uncertainty():
    of = cells(lambda s, d, q: 0)
    guests = of.filter((pl.col("site") == "dock") & (pl.col("earlier_device") == "A1")).with_columns(
        earlier_site=pl.lit("hall")
    )
    contrasts = ChangeContrasts.of(pl.concat([of, guests]))
    abroad = [c for c in contrasts.next("2024Q2", 0.1, 0.15)["dock"] if c.earlier_device is None]
    assert len(abroad) == 2
    assert all(c.variance > 0.1**2 + 2 * 0.15**2 for c in abroad)


def test_a_class_without_enough_people_elsewhere_tells_nothing():
    alone = cells(right, sites=("dock",))
    assert ChangeContrasts.of(alone).next("2024Q2", 0.1, 0.15) == {}
    assert table(alone).height == 0


def test_changes_on_one_analyser_within_a_period_say_nothing_of_it():
    within = cells(right).with_columns(earlier_period="period", earlier_device="device")
    assert table(within).height == 0
