"""Analysers by the changes of the people measured on them: invented programmes of a few sites."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.statistics.analyser_fault import DRIFT, PACE, SHIFT, Evidence, Fault, SiteModel, moments
from pipeline.statistics.change_contrast import (
    ELSEWHERE,
    ChangeContrasts,
    Places,
    _distinct,
    is_grown,
    month_begins,
    stage_of,
)
from pipeline.statistics.device_drift import USUAL, Chart, DeviceCharts, device_table
from pipeline.statistics.fault_verdict import UNDETERMINED, Explanation, verdict

CHART = Chart(300)
USUAL_WEIGHT = USUAL["weight"]
PERIODS = [f"202{y}Q{q}" for y in (4, 5) for q in (1, 2, 3, 4)]
GROWN_LATER = 46  # a class: women of 20 to 39, in a change after the first, within six weeks
KEYS = ["site", "device", "period", "month", "earlier_site", "earlier_device", "earlier_month"]


def cells(
    error, *, sites=("dock", "hall", "mill", "quay"), devices=("A1", "A2"), people=200, pace=None, seed=1, quarters=8
):
    """Everyone comes once a quarter, on any day and analyser, and is weighed with sd 0.6 kg.

    error(site, device, t) and pace(site, t): kg by which the analyser, or everybody there, is off at t quarters.
    """
    random = np.random.default_rng(seed)
    rows = []
    for site in sites:
        day = (91.3 * np.arange(quarters) + random.integers(0, 90, (people, quarters))).astype(int)
        device = random.integers(0, len(devices), day.shape)
        t = day / 91.3
        weight = random.normal(0, 0.6, day.shape) - 0.5 * t + 0.3 * np.cos(t)  # the season, everywhere
        for i in np.ndindex(day.shape):
            weight[i] += error(site, devices[device[i]], t[i]) + (pace(site, t[i]) if pace else 0)
        for person, visit in np.ndindex(people, quarters - 1):
            dates = [date(2024, 1, 1) + timedelta(days=int(day[person, visit + k])) for k in (0, 1)]
            months = [12 * d.year + d.month - 1 for d in dates]
            rows.append((
                site, devices[device[person, visit + 1]], f"{dates[1].year}Q{(dates[1].month + 2) // 3}", months[1],
                site, devices[device[person, visit]], months[0], 1.0, dates[1].day - 1.0,
                (dates[1] - dates[0]).days / 7, weight[person, visit + 1] - weight[person, visit],
            ))  # fmt: skip
    changes = pl.DataFrame(rows, schema=[*KEYS, "n", "days", "weeks", "change"], orient="row")
    return (
        changes.with_columns(change_squared=pl.col("change") ** 2)
        .group_by(KEYS, maintain_order=True)
        .agg(pl.col("n", "days", "weeks", "change", "change_squared").sum())
        .with_columns(**{"class": GROWN_LATER})
        .with_columns(pl.col("n").cast(pl.Int64))
    )


def taken(of):
    """The names of places, and each period with its contrasts, from cells in words."""
    earlier = of.select(site="earlier_site", device="earlier_device")
    known = pl.concat([of.select("site", "device"), earlier]).unique().sort("site", "device").with_row_index("place")
    places, whole = Places.of(known), {"weeks": 1e3, "change": 1e3, "change_squared": 1e6, "days": 1}
    numbered = (
        of.join(known, on=["site", "device"])
        .join(known.select(earlier_site="site", earlier_device="device", earlier_place="place"),
              on=["earlier_site", "earlier_device"])
        .with_columns((pl.col(name) * unit).round().cast(pl.Int64) for name, unit in whole.items())
    )  # fmt: skip
    contrasts = ChangeContrasts(places)
    columns = ["place", "month", "earlier_place", "earlier_month", "class", "n", *whole]
    periods = sorted(set(of["period"]))
    return places, [
        (period, contrasts.next(numbered.filter(pl.col("period") == period).select(columns))) for period in periods
    ]


def table(of):
    places, periods = taken(of)
    charts = DeviceCharts(places.devices, USUAL_WEIGHT, CHART)
    return device_table([row for period, found in periods for row in charts.next(period, found)])


def signals(found):
    return found.filter(pl.col("signal") != "").select("site", "device", "period", "signal").rows()


def right(site, device, t):
    return {"A1": 0.08, "A2": -0.05}.get(device, 0.0)


def test_analysers_that_stay_as_they_are_give_no_signal():
    found = table(cells(right))
    assert signals(found) == []
    assert found.height == 4 * 2 * 7
    assert found["score"].std() == pytest.approx(1, abs=0.35)
    assert found["upper_sum"].max() < CHART.decision
    assert found["lower_sum"].min() >= 0


def test_a_kilogram_is_seen_in_its_first_period_and_measured():
    found = table(cells(lambda s, d, t: right(s, d, t) + ((s, d) == ("mill", "A2") and t >= 4)))
    assert signals(found) == [("mill", "A2", "2025Q1", SHIFT)]
    at = found.filter((pl.col("site") == "mill") & (pl.col("period") >= "2025Q1"))
    assert at.filter(pl.col("device") == "A2")["difference"].to_list() == pytest.approx([0.95] * 4, abs=0.3)
    # The site's other analyser is not made to look as if it read less.
    assert at.filter(pl.col("device") == "A1")["difference"].to_list() == pytest.approx([0.08] * 4, abs=0.3)
    assert at.filter((pl.col("low") < pl.col("difference")) & (pl.col("difference") < pl.col("high"))).height == 8


def test_a_fall_is_seen_as_well_as_a_rise():
    found = table(cells(lambda s, d, t: -1.0 * ((s, d) == ("quay", "A1") and t >= 5)))
    assert signals(found) == [("quay", "A1", "2025Q2", SHIFT)]
    assert found.filter(pl.col("signal") == SHIFT)["lower_sum"][0] > CHART.decision


def test_a_drift_is_seen_within_two_periods_and_called_so():
    found = table(cells(lambda s, d, t: 0.5 * max(t - 4, 0) * ((s, d) == ("dock", "A1")), people=400))
    first = signals(found)[0]
    assert first[0] == "dock"
    assert first[2] in ("2025Q1", "2025Q2")  # it begins with 2025Q1
    assert ("dock", "A1", DRIFT) in [(site, device, signal) for site, device, _, signal in signals(found)]
    last = found.filter((pl.col("site") == "dock") & (pl.col("period") == "2025Q4")).sort("device")
    assert last["difference"].to_list() == pytest.approx([1.75, 0], abs=0.4)


def test_a_second_shift_the_same_way_is_a_drift_and_one_back_is_not():
    def twice(way):
        return lambda s, d, t: (1.0 * (t >= 3) + way * (t >= 5)) * ((s, d) == ("hall", "A2"))

    further, back = (table(cells(twice(way))) for way in (1, -1))
    assert [(device, signal) for _, device, _, signal in signals(further)] == [("A2", SHIFT), ("A2", DRIFT)]
    assert [(device, signal) for _, device, _, signal in signals(back)] == [("A2", SHIFT), ("A2", SHIFT)]
    last = back.filter((pl.col("site") == "hall") & (pl.col("period") == "2025Q4")).sort("device")
    assert last["difference"].to_list() == pytest.approx([0, 0], abs=0.45)


def test_a_site_whose_people_lose_more_is_not_taken_for_a_wrong_analyser():
    pace = {"dock": -0.8, "hall": 0.5}
    assert signals(table(cells(right, pace=lambda s, t: pace.get(s, 0) * t))) == []


def test_a_programme_that_starts_where_analysers_can_be_compared_is_no_fault():
    assert signals(table(cells(right, pace=lambda s, t: -0.9 * max(t - 4, 0) * (s == "dock")))) == []


def test_a_lone_analyser_s_shift_is_told_from_a_change_of_pace():
    shift = cells(lambda s, d, t: 1.0 * (s == "dock" and t >= 4), devices=("",))
    assert signals(table(shift)) == [("dock", "", "2025Q1", SHIFT)]
    pace = cells(lambda s, d, t: 0, devices=("",), pace=lambda s, t: -1.0 * max(t - 4, 0) * (s == "dock"))
    assert {signal for *_, signal in signals(table(pace))} == {PACE}


def test_a_lone_analyser_s_drift_and_a_change_of_pace_are_the_same_and_said_to_be():
    drift = cells(lambda s, d, t: 1.0 * max(t - 4, 0) * (s == "dock"), devices=("",))
    pace = cells(lambda s, d, t: 0, devices=("",), pace=lambda s, t: 1.0 * max(t - 4, 0) * (s == "dock"))
    assert {signal for *_, signal in signals(table(drift))} == {PACE}
    assert_frame_equal(table(drift), table(pace))


def test_both_analysers_of_a_site_may_shift_at_once():
    """At first it might be everybody's pace as well; the next period tells."""
    found = table(cells(lambda s, d, t: 1.0 * (s == "mill" and t >= 4)))
    assert {(site, period) for site, _, period, signal in signals(found) if signal != SHIFT} <= {("mill", "2025Q1")}
    assert signals(found.filter(pl.col("period") > "2025Q1")) == [
        ("mill", "A1", "2025Q2", SHIFT), ("mill", "A2", "2025Q2", SHIFT)
    ]  # fmt: skip


def test_what_came_later_does_not_change_what_was_said():
    of = cells(right)
    whole, part = table(of), table(of.filter(pl.col("period") <= "2025Q1"))
    assert_frame_equal(whole.filter(pl.col("period") <= "2025Q1"), part)


def test_what_came_later_does_not_change_what_was_said_to_the_last_digit():
    """Nor do sites and analysers that nobody had heard of: an earlier one in the alphabet moves every number."""
    of = cells(lambda s, d, t: right(s, d, t) + ((s, d) == ("mill", "A2") and t >= 3), people=60)
    new = of.filter((pl.col("site") == "hall") & (pl.col("period") >= "2025Q2")).with_columns(site=pl.lit("aisle"))
    new = new.with_columns(earlier_site="site", device=pl.lit("A0"), earlier_device=pl.lit("A0"))
    whole, part = table(pl.concat([of, new])), table(of.filter(pl.col("period") <= "2025Q1"))
    assert "aisle" in set(whole["site"])
    assert_frame_equal(whole.filter(pl.col("period") <= "2025Q1"), part, check_exact=True)


def test_the_order_of_cells_does_not_matter():
    of = cells(right)
    assert_frame_equal(table(of), table(of.sample(fraction=1, shuffle=True, seed=3)), check_exact=True)


@pytest.mark.parametrize("largest", [9, 2**31, 2**60])
def test_rows_are_put_in_order_by_one_number_however_large_theirs_are(largest):
    """Three numbers of up to 2⁶⁰ have no room in one of 2⁶³ side by side."""
    random = np.random.default_rng(9)
    columns = [random.choice(random.integers(-largest, largest, 7), 200) for _ in range(3)]
    rows, where = _distinct(*columns)
    assert rows.tolist() == np.unique(np.column_stack(columns), axis=0).tolist()
    assert np.array_equal(rows[where], np.column_stack(columns))


@pytest.mark.parametrize(
    ("kind", "stage", "grown"),
    [(0, 0, False), (44, 2, False), (45, 0, True), (50, 1, True), (89, 2, True), (90, 0, False), (179, 2, True)],
)
def test_a_class_tells_its_stage_and_whether_people_are_grown(kind, stage, grown):
    """Sex, six ages from under 10 to 60 and over, three stages, five classes of time between: 180 numbers."""
    assert (stage_of(np.array([kind]))[0], is_grown(np.array([kind]))[0]) == (stage, grown)


# ---- the model of a site ------------------------------------------------------------------------------------


def model(of=None, found=(), devices=(0, 1), until="2025Q2"):
    """The model of the site dock, and the first month of the next period."""
    every = None
    for part in (found["dock"] for period, found in taken(cells(right) if of is None else of)[1] if period <= until):
        every = every.followed_by(part) if every else part
    return SiteModel(every, list(devices), list(found), USUAL_WEIGHT)


def test_score_and_information_are_those_of_the_whole_covariance():
    """Against the same quantities from the covariance of all contrasts, inverted: no states are solved for."""
    of = model()
    covariance = np.diag(1 / of.weight) + (of.design * of.prior**2) @ of.design.T
    inverse = np.linalg.inv(covariance)
    evidence = of.evidence(0)
    for i, fault in enumerate(evidence.faults):
        x = of.columns(fault.devices, fault.kind, np.array([fault.month]))[:, 0]
        assert evidence.information[i] == pytest.approx(x @ inverse @ x, abs=1e-6)
        if evidence.information[i] > 1e-6:
            assert evidence.score[i] == pytest.approx(x @ inverse @ of.of.change, abs=1e-6)


def test_a_likelihood_ratio_is_that_of_the_two_normal_densities():
    """One contrast of size 1.3 with variance 1, a fault of sd 2: N(1.3; 0, 1 + 4) over N(1.3; 0, 1)."""
    upper, lower = Evidence([], np.array([1.3]), np.array([1.0])).likelihood_ratio(np.array([2.0]), 1.0)
    expected = np.exp(1.3**2 / 2 - 1.3**2 / 10) / np.sqrt(5)
    assert (upper + lower)[0] == pytest.approx(expected)
    assert upper[0] > lower[0] > 0


def test_a_wider_spread_weakens_the_evidence():
    one = Evidence([], np.array([5.0]), np.array([4.0]))
    assert sum(one.likelihood_ratio(np.array([1.0]), 2.0)) < sum(one.likelihood_ratio(np.array([1.0]), 1.0))


def test_the_expected_likelihood_ratio_of_a_site_in_order_is_1():
    """That is what the martingale bound on the run length stands on; changes drawn from the model itself."""
    of = model(until="2024Q3")
    random = np.random.default_rng(7)
    evidence = of.evidence(0)
    at = [i for i, f in enumerate(evidence.faults) if f.kind == SHIFT and f.devices == (0,)][-3]
    fault = evidence.faults[at]
    x = of.columns(fault.devices, fault.kind, np.array([fault.month]))[:, 0]
    covariance = np.diag(1 / of.weight) + (of.design * of.prior**2) @ of.design.T
    scores = random.multivariate_normal(np.zeros(len(x)), covariance, 20_000) @ np.linalg.solve(covariance, x)
    information = np.full(20_000, evidence.information[at])
    upper, lower = Evidence([], scores, information).likelihood_ratio(np.full(20_000, 0.1), 1.0)
    assert (upper + lower).mean() == pytest.approx(1, abs=0.03)
    assert upper.mean() == pytest.approx(lower.mean(), abs=0.03)


def test_a_fault_that_is_known_is_no_evidence_any_more():
    shifted = cells(lambda s, d, t: 1.0 * ((s, d) == ("dock", "A1") and t >= 4))
    begins = 12 * 2025.0
    known = model(shifted, [Fault((0,), SHIFT, begins)])
    for of, is_large in ((model(shifted), True), (known, False)):
        evidence = of.evidence(int(begins))
        standard = np.abs(evidence.score) / np.sqrt(np.maximum(evidence.information, 1e-9))
        assert (standard.max() > 5) == is_large


def test_a_lone_drift_and_a_change_of_pace_are_one_column():
    of = model(cells(right, devices=("A1",)), devices=(0,))
    months = np.array([12 * 2024 + 5.5])
    assert of.columns((0,), DRIFT, months) == pytest.approx(of.columns((), PACE, months))
    assert {(f.devices, f.kind) for f in of.evidence(0).faults} == {((0,), SHIFT), ((0,), PACE)}


def test_a_fault_from_the_middle_of_a_month_counts_half_there():
    of = model()
    whole, half, none = of.columns((0,), SHIFT, 12 * 2024 + np.array([6.0, 6.5, 7.0])).T
    assert half == pytest.approx((whole + none) / 2)


def test_moments_are_days_over_91():
    assert month_begins(np.array([12 * 1970, 12 * 1970 + 1])).tolist() == [0, 31 / 91]
    assert moments(np.array([12 * 1970 + 0.5])) == pytest.approx([15.5 / 91])


def explanation(devices, total, kind=SHIFT):
    return Explanation(devices, kind == PACE, total, 0.0, {kind: total}, {kind: (total, Fault(devices, kind, 100.0))})


@pytest.mark.parametrize(
    ("sums", "words"),
    [
        ([((0,), 299.0), ((1,), 1.0)], {}),
        ([((0,), 301.0), ((1,), 1.0)], {0: SHIFT}),
        ([((0,), 900.0), ((1,), 100.1)], {0: UNDETERMINED, 1: UNDETERMINED}),  # just under nine in ten
        ([((0,), 900.0), ((1,), 99.9)], {0: SHIFT}),
        ([((0,), 900.0), ((1,), 60.0), ((2,), 60.0)], {0: UNDETERMINED}),
        ([((0, 1), 900.0), ((1,), 10.0)], {0: SHIFT, 1: SHIFT}),
    ],
)
def test_an_analyser_is_named_when_its_share_is_nine_in_ten(sums, words):
    of = [explanation(devices, total) for devices, total in sums]
    assert verdict(of, [0, 1, 2], 300).signals == words


@pytest.mark.parametrize(
    ("devices", "shift", "pace", "words"),
    [
        ([0], 500.0, 10.0, {0: SHIFT}),
        ([0], 500.0, 400.0, {0: PACE}),
        ([0], 1.0, 500.0, {0: PACE}),
        ([0, 1], 1.0, 500.0, {}),
        ([0, 1], 500.0, 400.0, {0: UNDETERMINED}),
    ],
)
def test_a_change_of_pace_is_told_of_lone_analysers_only(devices, shift, pace, words):
    of = [explanation((0,), shift), explanation(tuple(devices), pace, PACE)]
    assert verdict(of, devices, 300).signals == words


# ---- changes and what is expected of them -------------------------------------------------------------------


def test_a_change_expected_by_all_is_taken_off_exactly():
    """Three sites, one class, no noise: the third site changes by 0.25 more than the others."""
    of = cells(lambda s, d, t: 0, sites=("dock", "hall", "mill"), people=200)
    even = of.with_columns(change=pl.when(pl.col("site") == "mill").then(-0.25).otherwise(-0.5) * pl.col("n"))
    places, periods = taken(even.with_columns(change_squared=pl.col("n") * 1.0))
    found = dict(periods)["2024Q2"]
    n = even.filter((pl.col("site") == "mill") & (pl.col("period") == "2024Q2"))["n"].sum()
    assert found["mill"].change == pytest.approx(0.25)
    assert found["mill"].n.sum() == n
    assert found["mill"].quarters.mean() == pytest.approx(1, abs=0.15)
    assert found["mill"].device.max() == 1
    assert places.devices == ["A1", "A2"]


def test_people_who_come_from_another_site_carry_its_uncertainty():
    of = cells(lambda s, d, t: 0)
    guests = of.filter((pl.col("site") == "dock") & (pl.col("earlier_device") == "A1")).with_columns(
        earlier_site=pl.lit("hall")
    )
    found = dict(taken(pl.concat([of, guests]))[1])["2024Q2"]["dock"]
    abroad = found.earlier_device == ELSEWHERE
    assert abroad.any() and not abroad.all()
    weight = SiteModel(found, [0, 1], [], USUAL_WEIGHT).weight
    assert weight[~abroad] == pytest.approx(1 / found.variance[~abroad])
    assert weight[abroad] == pytest.approx(1 / (found.variance[abroad] + USUAL_WEIGHT.abroad**2))


def test_a_class_without_enough_people_elsewhere_tells_nothing():
    alone = cells(right, sites=("dock",))
    assert dict(taken(alone)[1])["2024Q2"] == {}
    assert table(alone).height == 0


def test_changes_on_one_analyser_within_a_month_say_nothing_of_it():
    within = cells(right).with_columns(earlier_month="month", earlier_device="device")
    assert table(within).height == 0
