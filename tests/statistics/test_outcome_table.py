"""Sums by site → rows of result.outcome, drop-out estimators and the target. Invented figures."""

import numpy as np
import polars as pl
import pytest

from pipeline.statistics.drop_out import ESTIMATORS, SUMS, estimate
from pipeline.statistics.outcome_table import Changes, outcome_table
from pipeline.statistics.target import probability_of_target

EMPTY_FAT = pl.DataFrame(
    schema={
        "months": pl.Int16,
        "sex": pl.String,
        "site": pl.String,
        "n": pl.Int64,
        "fat": pl.Float64,
        "weight": pl.Float64,
    }
)
EMPTY_SEASON = pl.DataFrame(schema={"months": pl.Int16, "start": pl.String, "site": pl.String, "n": pl.Int64})
EMPTY_ENTRY = pl.DataFrame(schema={"months": pl.Int16, "sex": pl.String, "n": pl.Int64, "x": pl.Float64})
AGES = {"adults": (20, 99), "children": (5, 19)}


def moment(site, y, due, *, measure="weight_change", start="bmi_25", sex="female", stage="adults", w=None):
    y = np.asarray(y, dtype=float)
    w = np.ones(y.size) if w is None else np.asarray(w, dtype=float)
    parts = (
        due,
        y.size,
        y.sum(),
        (y**2).sum(),
        w.sum(),
        (w**2).sum(),
        (w * y).sum(),
        (w * y**2).sum(),
        (w**2 * y).sum(),
        (w**2 * y**2).sum(),
    )
    return {"stage": stage, "months": 6, "measure": measure, "start": start, "sex": sex, "site": site} | dict(
        zip(SUMS, parts, strict=True)
    )


def changes(rows, **given):
    frame = pl.DataFrame(rows, schema_overrides={"months": pl.Int16})
    parts = {
        "fat_share": EMPTY_FAT,
        "season": EMPTY_SEASON,
        "entry": EMPTY_ENTRY,
        "improvement": "down",
        "weight_error_kg": 0.6,
        "ages": AGES,
    }
    return Changes(frame, **(parts | given))


def row(table, **key):
    found = table.filter(*(pl.col(name) == value for name, value in key.items()))
    assert found.height == 1, found
    return found.row(0, named=True)


def test_every_group_is_the_sum_of_its_parts():
    made = outcome_table(
        changes(
            [
                moment("a", [-2, -4], 5),
                moment("b", [-3], 3),
                moment("a", [1], 2, start="under_25"),
                moment("b", [0, 2], 2, sex="male"),
            ]
        )
    )
    completers = {"measure": "weight", "unit": "kg", "statistic": "mean_change", "estimator": "completers"}
    assert row(made, **completers, start="bmi_25", sex="female")["value"] == pytest.approx(-3)
    assert row(made, **completers, start="bmi_25", sex="all")["value"] == pytest.approx(-7 / 5)
    everybody = row(made, **completers, start="all", sex="all")
    assert (everybody["value"], everybody["n"], everybody["denominator"]) == (pytest.approx(-1.0), 6, 12)
    carried = row(made, **(completers | {"estimator": "carried_forward"}), start="all", sex="all")
    assert carried["value"] == pytest.approx(-6 / 12)
    assert everybody["flag"] == "unreliable"  # six people


def test_shares_are_asked_of_those_at_25_or_over_alone_and_carry_the_declared_direction():
    rows = [moment(site, [1, 0, 1, 0, 0], 10, measure="lost_5_percent") for site in "abc"]
    rows += [moment(site, [0.5], 10, start="under_25") for site in "abc"]
    made = outcome_table(changes(rows, improvement="up"))
    lost = made.filter(statistic="lost_5_percent")
    assert set(lost["start"]) == {"bmi_25"} and set(lost["direction"]) == {"up"}
    seen = row(lost, sex="all", estimator="completers")
    assert seen["value"] == pytest.approx(0.4) and 0 < seen["low"] < 0.4 < seen["high"] < 1
    assert row(lost, sex="all", estimator="carried_forward")["value"] == pytest.approx(0.2)
    assert set(made.filter(start="all")["direction"]) == {""}


def test_children_have_a_z_score_and_no_weights():
    made = outcome_table(
        changes(
            [
                moment(s, [0.1, -0.1], 4, measure="bmi_z_change", stage="children", start="under_25")
                for s in "ab"
            ]
        )
    )
    assert set(made["measure"]) == {"bmi_z"} and set(made["estimator"]) == {"completers", "carried_forward"}
    assert set(made["age_to"]) == {19}


def test_the_expected_fall_is_taken_off_and_told():
    rows = [moment(site, [-1.0] * 20, 30) for site in "abc"]
    n, mean, sd = 400, 27.0, 5.0
    entry = pl.DataFrame(
        {
            "months": [6],
            "sex": ["female"],
            "n": [n],
            "x": [n * mean],
            "xx": [(n - 1) * sd**2 + n * mean**2],
            "n_25": [90],
            "weight_25": [90 * 85.0],
            "height_squared_25": [90 * 2.9],
        },
        schema_overrides={"months": pl.Int16},
    )
    made = outcome_table(changes(rows, entry=entry, weight_error_kg=2.9))
    expected = row(made, statistic="regression_to_mean")["value"]
    # error of 1 kg/m² in a spread of 5 about 27, chosen from 25: 1/5·φ(−0.4)/(1 − Φ(−0.4)) kg/m², times 2.9 m²
    assert expected == pytest.approx(-0.2 * 0.368270 / 0.655422 * 2.9, rel=1e-5)
    assert row(made, estimator="less_regression_to_mean", sex="all")["value"] == pytest.approx(-1 - expected)


def test_fat_in_the_loss_needs_a_clear_loss():
    rows = [moment(site, [-3.0, -2.0], 4) for site in "abcd"]
    fat = pl.DataFrame(
        {
            "months": 6,
            "sex": "female",
            "site": list("abcd"),
            "n": 20,
            "fat": [-30.0, -33, -31, -36],
            "weight": [-40.0, -44, -42, -46],
        },
        schema_overrides={"months": pl.Int16},
    )
    found = row(outcome_table(changes(rows, fat_share=fat)), statistic="fat_share_of_loss", sex="all")
    assert found["value"] == pytest.approx(130 / 172) and found["low"] < found["value"] < found["high"]
    unclear = fat.with_columns(weight=pl.Series([-40.0, 44, -42, 46]))
    assert np.isnan(
        row(outcome_table(changes(rows, fat_share=unclear)), statistic="fat_share_of_loss", sex="all")[
            "value"
        ]
    )


def test_one_site_alone_has_an_interval_from_its_people():
    y = np.array([-2.0, -1.0, 0.0, -3.0])
    of = {name: np.array([value]) for name, value in moment("a", y, 4).items() if name in SUMS}
    found = estimate(of, "completers", is_share=False)
    half = 3.182446 * np.std(y, ddof=1) / 2  # t with 3 degrees of freedom
    assert (found.low, found.high) == pytest.approx((-1.5 - half, -1.5 + half), rel=1e-6)


def test_equal_weights_are_no_weights():
    rows = [
        moment(site, values, 3, w=np.full(3, 2.5)) for site, values in (("a", [-1, -2, 0]), ("b", [1, 0, -4]))
    ]
    of = {name: np.array([r[name] for r in rows], dtype=float) for name in SUMS}
    plain, weighted = (estimate(of, name, is_share=False) for name in ("completers", "retention_weighted"))
    assert weighted.value == pytest.approx(plain.value) and weighted.effective == pytest.approx(6)
    assert ESTIMATORS == ("completers", "carried_forward", "retention_weighted")


def test_the_target_is_even_odds_at_the_value_and_unknown_without_limits():
    found = probability_of_target([0.25, 0.30, 0.25], [0.15, 0.20, 0.25], [0.35, 0.40, 0.25], 0.25)
    assert found[0] == pytest.approx(0.5)
    assert found[1] == pytest.approx(0.836440, abs=5e-5)  # Φ(0.05/(0.2/3.92)) = Φ(0.98)
    assert np.isnan(found[2])


def test_the_target_is_judged_over_all_sites_by_every_estimator():
    rows = [moment(site, [1, 0, 1, 0, 0], 10, measure="lost_5_percent") for site in "abcdef"]
    made = outcome_table(changes(rows, target=(6, 0.4)))
    reached = made.filter(statistic="reached_target")
    assert reached["estimator"].to_list() == ["carried_forward", "completers", "retention_weighted"]
    assert reached.filter(estimator="completers")["value"].item() == pytest.approx(
        0.5
    )  # the share is the target
    assert reached.filter(estimator="carried_forward")["value"].item() < 0.01
    assert outcome_table(changes(rows, target=(12, 0.4))).filter(statistic="reached_target").is_empty()
