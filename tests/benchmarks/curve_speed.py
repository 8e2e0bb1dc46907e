"""How long the smooth curves of every measure take: `python tests/benchmarks/curve_speed.py [STORE] [OUT.md]`.

Without a store it invents people, as many as SIZES names, with every measure of the registry; the target of each size
is the same, because fits work on value counts. Time is the processor's, on one core unless the machine lends more.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.statistics.age_group import SEXES
from pipeline.statistics.curve_table import diagnostic_rows, percentile_curve_rows
from pipeline.statistics.fitted_curve import fit_curve
from pipeline.store import Store

SIZES = (20_000, 200_000, 2_000_000)
TARGET_OF_ONE, TARGET_OF_ALL = 1.0, 20.0  # seconds of processor time
SITES = 24
STEPS = 750  # print steps in the median adult's value: a weight of 75.0 kg, the measure with most different values


def invented_tally(people: int, seed: int = 11) -> pl.DataFrame:
    """Value counts of every measure: log-normal about a level that grows to 20 years and slowly bends after."""
    random = np.random.default_rng(seed)
    parts = []
    for measure in measures.MEASURES.values():
        for sex in SEXES:
            n = people // 2
            age = random.integers(measure.age_from, measure.age_to + 1, n)
            grown = np.minimum(age, 20) / 20
            level = STEPS * (0.4 + 0.6 * grown) * (1 - ((age - 50) / 300) ** 2)
            steps = np.rint(level * np.exp(random.normal(0, 0.2, n))).astype(np.int64)
            frame = pl.DataFrame({"age": age, "value": steps})
            counted = frame.group_by("age", "value").agg(n=pl.len().cast(pl.Int64))
            parts.append(counted.with_columns(measure=pl.lit(measure.name), sex=pl.lit(sex)))
    return pl.concat(parts).sort("measure", "sex", "age", "value")


def stored_tally(path: Path) -> pl.DataFrame:
    with Store.open(path, read_only=True) as store:
        return store.frame(
            "select measure, sex, age, value, n from tally.person_value order by measure, sex, age, value"
        )


def timed(tally: pl.DataFrame) -> list[tuple[str, str, int, int, str, float]]:
    """(measure, sex, people, cells, method, seconds) of each fit with its diagnostics and its band over sites."""
    cells = tally.partition_by("measure", "sex", as_dict=True, maintain_order=True)
    rows = []
    for (name, sex), here in cells.items():
        age, value, n = (here[column].to_numpy() for column in ("age", "value", "n"))
        started = time.process_time()
        curve = fit_curve(measures.MEASURES[name], sex, age, value, n, measures.PERCENTILES)
        scores = []
        if curve.choice.published == "lms":
            site = np.arange(curve.n.size) % SITES
            scores = [
                curve.score_of_site(curve.age[site == k], curve.value[site == k], curve.n[site == k])
                for k in range(SITES)
            ]
        percentile_curve_rows(curve, scores, measures.PERCENTILES)
        diagnostic_rows(curve, measures.AGE_GROUPS, measures.PERCENTILES)
        seconds = time.process_time() - started
        rows.append((name, sex, curve.people, here.height, curve.choice.published, seconds))
    return rows


def table(rows: list[tuple[str, list[tuple[str, str, int, int, str, float]]]]) -> str:
    lines = [
        "# Smooth curves: time",
        "",
        f"Targets: {TARGET_OF_ONE:g} s a measure and sex, {TARGET_OF_ALL:g} s for all measures, whatever the number of "
        "people. Each with the choice between the methods, smoothing, bands over 24 sites and diagnostics.",
        "",
        "| people | curves | cells of the largest | slowest fit | its time, s | all, s | within targets |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for label, found in rows:
        slowest = max(found, key=lambda row: row[-1])
        total = sum(row[-1] for row in found)
        is_within = slowest[-1] < TARGET_OF_ONE and total < TARGET_OF_ALL
        lines.append(
            f"| {label} | {len(found)} | {max(row[3] for row in found):,} | {slowest[0]}, {slowest[1]} "
            f"({slowest[4]}) | {slowest[-1]:.2f} | {total:.1f} | {'yes' if is_within else 'no'} |"
        )
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> None:
    if arguments:
        runs = [(arguments[0], timed(stored_tally(Path(arguments[0]))))]
    else:
        runs = [(f"{size:,}", timed(invented_tally(size))) for size in SIZES]
    text = table(runs)
    if len(arguments) > 1:
        Path(arguments[1]).write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(sys.argv[1:])
