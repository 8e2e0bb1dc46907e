"""The analysers' faults that are planted in the synthetic cohort are found, and nobody else is accused.

Invented people on invented analysers; how often such faults are found is in
tests/benchmarks/results/device_operating_curve.md.
"""

import numpy as np
import polars as pl
import pytest

from pipeline.results.device import charted
from pipeline.statistics.analyser_fault import DRIFT, PACE, SHIFT
from pipeline.store import Store
from synthetic_cohort.analysers import DRIFT_KG_A_QUARTER, SHIFT_KG
from synthetic_cohort.generate import generate

SEED = 20250101  # the demo's


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    """(readings on their analysers, analysers) of 20,000 readings, a third of the demo's."""
    folder = tmp_path_factory.mktemp("cohort")
    generate(folder, readings=20_000, seed=SEED, faults=False)
    analysers = pl.read_parquet(folder / "truth" / "analysers.parquet")
    readings = pl.read_parquet(folder / "truth" / "readings" / "*.parquet")
    return readings.join(analysers, on=["site", "analyser"], how="left", maintain_order="left"), analysers


def signals(readings, with_faults):
    """Signals of the weights that the analysers show."""
    quarters = (pl.col("measured_at") - pl.datetime(2024, 1, 1)).dt.total_days() / (365.25 / 4)
    fault = pl.col("drift_kg_a_quarter") * quarters + pl.when(
        pl.col("measured_at").dt.date() >= pl.col("shift_on")
    ).then("shift_kg").otherwise(0.0)
    noise = pl.Series(np.random.default_rng(1).normal(0, 0.07, readings.height))
    shown = pl.col("weight_kg") + pl.col("weight_bias_kg") + noise + (fault if with_faults else 0)
    rows = readings.select(
        "site", "measured_at", "sex", "age", reading_id=pl.int_range(pl.len()),
        participant=pl.col("person").cast(pl.String), period="quarter", device="name", weight_kg=shown.round(1),
    )  # fmt: skip
    with Store.open(None) as store:
        with store.lent("given", rows):
            store.execute(
                """insert into reading.accepted by name
                select *, 1 as file_id, reading_id as line, measured_at::date as measured_on, 170 as height_cm,
                    [] as flags
                from given"""
            )
        found = dict(charted(store))["weight"]
    return found.filter(~pl.col("signal").is_in(["", PACE]))


def test_the_planted_shift_and_drift_are_found_and_named(truth):
    readings, analysers = truth
    found = signals(readings, with_faults=True)
    shifted = analysers.filter(pl.col("shift_kg") == SHIFT_KG).row(0, named=True)
    drifting = analysers.filter(pl.col("drift_kg_a_quarter") == DRIFT_KG_A_QUARTER).row(0, named=True)
    assert set(found["site"]) == {shifted["site"], drifting["site"]}
    of_shift = found.filter(pl.col("site") == shifted["site"])
    assert set(of_shift["device"]) == {shifted["name"]}
    assert str(shifted["shift_on"]) == "2024-12-31"
    assert of_shift["period"][0] in ("2025Q1", "2025Q2")
    of_drift = found.filter(pl.col("site") == drifting["site"])
    named = of_drift.filter(pl.col("signal").is_in([SHIFT, DRIFT]))
    assert set(named["device"]) == {drifting["name"]}
    # It drifts from the first day, when nobody has come back yet: people's changes begin in 2024Q2.
    assert of_drift["period"].min() in ("2024Q2", "2024Q3")
    assert DRIFT in set(named["signal"])


def test_analysers_in_order_are_not_accused(truth):
    assert signals(truth[0], with_faults=False).height == 0
