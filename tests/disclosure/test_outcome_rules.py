"""Outcomes before publishing: small counts and what would give them back. Invented rows, minimum count 10."""

from itertools import product

import numpy as np
import polars as pl
import pytest

from pipeline.disclosure import protect
from pipeline.disclosure.parts_of_a_group import sensitive, withheld_among_sites, withheld_in_line
from pipeline.programme import Disclosure

RULES, M = Disclosure(), 10


def test_what_is_sensitive_by_itself():
    count = np.array([0, 1, 9, 10, 91, 90, 100, 5])
    of = np.array([100, 100, 100, 100, 100, 100, 100, 9])
    assert sensitive(count, of, M).tolist() == [False, True, True, False, True, False, True, True]


def possible(count, gone, of):
    """Every value that each withheld part can have, by going through all counts that give the shown multiples."""
    shown = [i for i in range(len(count)) if not gone[i]]
    ranges = [range(count[i] // M * M, count[i] // M * M + M) if count[i] else range(1) for i in shown]
    sums = {sum(parts) for parts in product(*ranges)}
    totals = range(of // M * M, of // M * M + M)
    left = {total - used for total in totals for used in sums}
    hidden = int(sum(gone))
    # one hidden part can be v when the others, at least 1 each and nobody knows how many, make up the rest
    return {
        v for v in range(1, M) if any(rest == v if hidden == 1 else rest - v >= hidden - 1 for rest in left)
    }


@pytest.mark.parametrize("seed", range(40))
def test_a_small_part_can_be_anything_from_one_to_nine(seed):
    # the attacker knows the rule, the multiples and their sum, and tries every whole number
    random = np.random.default_rng(seed)
    count = np.array([*random.integers(0, 10, 2), *random.integers(0, 60, 2)])
    of = int(count.sum())
    gone = withheld_in_line(count, of, (count >= 1) & (count < M), M)
    if not gone.any() or gone.all():
        return
    assert possible(count, gone, of) == set(range(1, M))


def test_the_odd_line_that_coarse_counts_would_give_away():
    # 29, 29 and 5 are shown as 20, 20 and nothing of 60: the part withheld is 2 to 29, hence not 1, so another goes
    given_away = withheld_in_line(np.array([5, 29, 29]), 63, np.array([True, False, False]), M)
    assert given_away.tolist() == [True, True, False]
    # 22, 22 and 5 of 49, shown as 20, 20 and nothing of 40: 1 to 9 all fit
    assert withheld_in_line(np.array([5, 22, 22]), 49, np.array([True, False, False]), M).tolist() == [
        True,
        False,
        False,
    ]


def test_everybody_in_one_part_takes_the_whole_line():
    assert withheld_in_line(np.array([0, 40, 0]), 40, np.array([False, True, False]), M).all()


def test_a_withheld_site_is_never_alone():
    count, of = np.array([3, 40, 25, 60]), np.array([80, 90, 70, 100])
    gone = withheld_among_sites(count, of, sensitive(count, of, M), M)
    assert gone.tolist() == [True, False, True, False]  # the smallest other site with it
    assert not withheld_among_sites(count[1:], of[1:], np.zeros(3, dtype=bool), M).any()


def transition(counts):
    bands = ["underweight", "normal", "overweight", "obesity_1"]
    rows = [
        {
            "months": 6,
            "banding": "bmi_adult",
            "band_from": one,
            "band_to": other,
            "n": n,
            "denominator": sum(line),
        }
        for one, line in zip(bands, counts, strict=True)
        for other, n in zip(bands, line, strict=True)
    ]
    return pl.DataFrame(rows).with_columns(
        proportion=pl.col("n") / pl.col("denominator"),
        low=pl.lit(0.1),
        high=pl.lit(0.9),
        method=pl.lit("m"),
        flag=pl.lit(None, pl.String),
    )


def test_no_small_count_of_a_transition_table_is_shown():
    shown = protect(
        {"transition": transition([(3, 2, 0, 0), (12, 203, 7, 0), (0, 44, 310, 31), (0, 0, 0, 55)])}, RULES
    )["transition"]
    cells = {(r["band_from"], r["band_to"]): r for r in shown.iter_rows(named=True)}
    assert cells["underweight", "normal"]["flag"] == "withheld"
    assert cells["underweight", "obesity_1"]["denominator"] is None
    assert cells["normal", "overweight"]["n"] is None and cells["normal", "normal"]["n"] == 200
    assert cells["overweight", "normal"]["n"] == 40 and cells["overweight", "normal"]["denominator"] == 380
    # everybody stayed: the row would tell of each of them
    assert cells["obesity_1", "obesity_1"]["flag"] == "withheld"
    published = shown.filter(pl.col("n").is_not_null())
    assert (published["n"] % 10 == 0).all() and (published["low"] <= published["proportion"]).all()


def outcome(rows):
    defaults = {
        "months": 12,
        "measure": "weight",
        "unit": "1",
        "start": "bmi_25",
        "age_from": 20,
        "age_to": 99,
        "direction": "down",
        "low": 0.0,
        "high": 1.0,
        "effective_n": None,
        "method": "m",
        "flag": None,
    }
    return pl.DataFrame(
        [defaults | row for row in rows],
        schema_overrides={"effective_n": pl.Float64, "flag": pl.String, "value": pl.Float64},
    )


def shares(sex, n, fell, same, rose):
    parts = {"fell": fell, "unchanged": same, "rose": rose}
    return [
        {
            "statistic": statistic,
            "sex": sex,
            "estimator": estimator,
            "n": n,
            "denominator": 2 * n,
            "value": count / n if estimator == "completers" else count / (2 * n),
        }
        for statistic, count in parts.items()
        for estimator in ("completers", "carried_forward")
    ]


def test_a_small_share_takes_its_complements_its_estimators_and_the_other_sex():
    table = outcome(
        [*shares("all", 200, 90, 86, 24), *shares("female", 110, 60, 44, 6), *shares("male", 90, 30, 42, 18)]
    )
    shown = protect({"outcome": table}, RULES)["outcome"]
    gone = shown.group_by("sex").agg(
        pl.col("value").is_null().all().alias("gone"), pl.col("n").is_null().any()
    )
    assert dict(gone.select("sex", "gone").iter_rows()) == {"all": False, "female": True, "male": True}


def test_a_mean_of_nearly_everybody_would_tell_of_the_few():
    def mean(start, estimator, n):
        return {
            "statistic": "mean_change",
            "unit": "kg",
            "sex": "all",
            "start": start,
            "estimator": estimator,
            "n": n,
            "denominator": 400,
            "value": -2.34567,
            "low": -3.0,
            "high": -1.0,
        }

    table = outcome(
        [
            mean("all", "completers", 200),
            mean("bmi_25", "completers", 195),
            mean("all", "without_signals", 189),
            mean("all", "same_season", 200),
        ]
    )
    shown = protect({"outcome": table}, RULES)["outcome"]
    assert shown["value"].to_list() == [-2.346, None, -2.346, -2.346]
    assert shown["n"].to_list() == [200, None, 180, 200]


def test_means_need_thirty_people():
    rows = [
        {
            "statistic": "mean_change",
            "unit": "kg",
            "sex": "all",
            "start": "all",
            "estimator": "completers",
            "n": n,
            "denominator": 90,
            "value": -1.0,
            "months": n,
        }
        for n in (29, 30)
    ]
    assert protect({"outcome": outcome(rows)}, RULES)["outcome"]["value"].to_list() == [None, -1.0]


def retention(counts, everybody):
    due = sum(counts.values())
    rows = [{"status": "followed", "n": counts["seen"] + counts["seen_elsewhere"], "denominator": due}]
    rows += [{"status": status, "n": n, "denominator": due} for status, n in counts.items()]
    rows += [
        {"status": "not_due", "n": everybody - due, "denominator": everybody},
        {"status": "site_silent", "n": 0, "denominator": everybody},
    ]
    head = {
        "months": 3,
        "site": None,
        "entry_period": None,
        "age_from": 20,
        "age_to": 99,
        "low": 0.1,
        "high": 0.9,
        "method": "m",
        "flag": None,
    }
    return pl.DataFrame(
        [head | row for row in rows],
        schema_overrides={"site": pl.String, "entry_period": pl.String, "flag": pl.String},
    ).with_columns(proportion=pl.col("n") / pl.col("denominator"))


def test_seen_elsewhere_does_not_follow_from_seen_and_their_sum():
    counts = {"seen": 300, "seen_elsewhere": 4, "not_counted": 12, "missed": 90, "gone": 200}
    shown = protect({"retention": retention(counts, 700)}, RULES)["retention"]
    by_status = dict(shown.select("status", "n").iter_rows())
    assert by_status["followed"] == 300 and by_status["seen"] is None and by_status["seen_elsewhere"] is None
    assert by_status["gone"] == 200 and by_status["not_due"] == 90


def test_counts_of_the_other_tables_are_coarse_and_small_ones_gone():
    error = pl.DataFrame(
        {
            "measure": ["weight"] * 3,
            "unit": "kg",
            "source": ["a", "b", "c"],
            "n": [9, 47, 0],
            "error": 0.51234,
            "percent_error": 0.6,
            "reliability": 0.99871,
            "smallest_detectable_change": 1.42019,
            "is_used": "yes",
            "method": "m",
            "flag": None,
        }
    )
    effect = pl.DataFrame(
        {
            "kind": ["event", "event"],
            "event_time": [0, 1],
            "n": [29, 64],
            "comparison_n": [90, 90],
            "value": -1.23456,
            "low": -2.0,
            "high": -0.5,
            "p": 0.01234,
            "flag": None,
        }
    )
    balance = pl.DataFrame(
        {
            "months": 3,
            "covariate": ["sex", "sex", "age", "age"],
            "level": ["f", "m", "x", "y"],
            "n": [60, 40, 92, 8],
            "denominator": [100, 90, 150, 40],
            "share_due": 0.5333,
            "share_seen": 0.5,
            "share_weighted": 0.5,
            "difference_before": 0.123,
            "difference_after": 0.01,
            "flag": None,
        }
    )
    found = protect(
        {"measurement_error": error, "group_time_effect": effect, "retention_balance": balance}, RULES
    )
    assert found["measurement_error"]["n"].to_list() == [None, 40, 0]
    assert found["measurement_error"]["error"].to_list() == [None, 0.512, 0.512]
    assert found["group_time_effect"]["value"].to_list() == [None, -1.23]
    assert found["retention_balance"]["share_due"].to_list() == [0.53, 0.53, None, None]


def test_a_small_site_goes_with_another_and_sites_carry_coarse_counts():
    row = {
        "months": 12,
        "topic": "lost_5_percent",
        "unit": "1",
        "low": 0.1,
        "high": 0.4,
        "reference": 0.25,
        "funnel_low_95": 0.1,
        "funnel_high_95": 0.4,
        "funnel_low_998": 0.05,
        "funnel_high_998": 0.5,
        "score": 0.123,
        "q_value": 0.5,
        "shrunken": 0.2512,
        "shrunken_low": 0.1,
        "shrunken_high": 0.4,
        "target": 0.25,
        "target_probability": 0.5123,
        "method": "m",
        "flag": None,
    }
    people = [("a", 4, 60), ("b", 22, 70), ("c", 31, 90), ("d", 40, 130)]
    rows = [row | {"site": site, "n": n, "denominator": of, "value": n / of} for site, n, of in people]
    shown = protect({"outcome_site": pl.DataFrame(rows)}, RULES)["outcome_site"]
    assert shown["n"].to_list() == [None, None, 30, 40]
    assert shown["denominator"].to_list() == [None, None, 90, 130]
    assert shown["target_probability"].to_list() == [None, None, 0.51, 0.51]
    assert shown["target"].to_list() == [0.25] * 4  # from the settings: nobody's


def test_the_probability_of_the_target_goes_with_the_share_it_was_worked_out_of():
    def lost(months, count):
        row = {"months": months, "sex": "all", "estimator": "completers", "n": 200, "denominator": 400}
        share = row | {"statistic": "lost_5_percent", "value": count / 200}
        return [share, row | {"statistic": "reached_target", "value": 0.12345, "low": None, "high": None}]

    shown = protect({"outcome": outcome([*lost(3, 9), *lost(12, 50)])}, RULES)["outcome"]
    assert shown["value"].to_list() == [None, None, 0.25, 0.12]
