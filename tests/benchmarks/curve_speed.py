"""How long the smooth curves of every measure take: `python tests/benchmarks/curve_speed.py [STORE]`.

Without a store it invents people, as many as SIZES names, with every measure of the registry, and once more with values
from outside the family, which cost a second set of regression quantiles. The target of each is the same, because fits
work on value counts. Time is the processor's, all threads together, so that other work on the machine hardly counts.
Prints a page and writes it to tests/benchmarks/results/curve_speed.md; with a store it only prints.
"""

from __future__ import annotations

import cProfile
import pstats
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

RESULTS = Path(__file__).parent / "results" / "curve_speed.md"
SIZES = (20_000, 200_000, 2_000_000)
TARGET_OF_ONE, TARGET_OF_ALL = 1.0, 20.0  # seconds of processor time
SITES = 24
STEPS = 750  # print steps in the median adult's value: a weight of 75.0 kg, the measure with most different values
Row = tuple[str, str, int, int, str, float]

# Seconds of processor time for all curves of each size, measured with this script on the same machine in the same hour
# before linear algebra was held to one thread, sorts and repeated exponentials were saved, and each age was worked out
# once and not once a cell. The curves agree to twelve digits; no criterion of convergence moved.
BEFORE = {"20,000": 9.2, "200,000": 14.4, "2,000,000": 17.5}

# The parts of the work, by the function that does it: together nearly all of the time.
PARTS = {
    "merged_steps": "very many cells put together",
    "fit_lms": "LMS curves, smoothing chosen",
    "fit_quantile_curves": "regression quantiles of the gate, and of the page where the family does not hold",
    "summed": "sums of 24 sites",
    "percentile_curve_rows": "curves and bands as rows",
    "diagnostic_rows": "diagnostics",
}


def invented_tally(people: int, is_mixed: bool = False, seed: int = 11) -> pl.DataFrame:
    """Value counts of every measure: log-normal about a level that grows to 20 years and slowly bends after.

    is_mixed: two people in ten have half as much again; no Box-Cox family holds that.
    """
    random = np.random.default_rng(seed)
    parts = []
    for measure in measures.MEASURES.values():
        for sex in SEXES:
            n = people // 2
            age = random.integers(measure.age_from, measure.age_to + 1, n)
            grown = np.minimum(age, 20) / 20
            level = STEPS * (0.4 + 0.6 * grown) * (1 - ((age - 50) / 300) ** 2)
            if is_mixed:
                level = level * np.where(random.random(n) < 0.2, 1.5, 1.0)
            spread = 0.1 if is_mixed else 0.2
            steps = np.rint(level * np.exp(random.normal(0, spread, n))).astype(np.int64)
            frame = pl.DataFrame({"age": age, "value": steps})
            counted = frame.group_by("age", "value").agg(n=pl.len().cast(pl.Int64))
            parts.append(counted.with_columns(measure=pl.lit(measure.name), sex=pl.lit(sex)))
    return pl.concat(parts).sort("measure", "sex", "age", "value")


def stored_tally(path: Path) -> pl.DataFrame:
    with Store.open(path, read_only=True) as store:
        return store.frame(
            "select measure, sex, age, value, n from tally.person_value order by measure, sex, age, value"
        )


def timed(tally: pl.DataFrame) -> list[Row]:
    """(measure, sex, people, cells, method, seconds) of each fit with its diagnostics and its band over sites."""
    cells = tally.partition_by("measure", "sex", as_dict=True, maintain_order=True)
    rows = []
    for (name, sex), here in cells.items():
        age, value, n = (here[column].to_numpy() for column in ("age", "value", "n"))
        started = time.process_time()
        curve = fit_curve(measures.MEASURES[name], sex, age, value, n, measures.PERCENTILES)
        sites = []
        if curve.choice.published != "none":
            site = np.arange(curve.n.size) % SITES
            sites = [
                curve.summed(curve.age[site == k], curve.value[site == k], curve.n[site == k], measures.PERCENTILES)
                for k in range(SITES)
            ]
        percentile_curve_rows(curve, sites, measures.PERCENTILES)
        diagnostic_rows(curve, measures.AGE_GROUPS, measures.PERCENTILES)
        seconds = time.process_time() - started
        rows.append((name, sex, curve.people, here.height, curve.choice.published, seconds))
    return rows


def shares(tally: pl.DataFrame) -> list[tuple[str, float]]:
    """(part, share of the time) of a profiled run; the profiler itself weighs a little on parts of many small calls."""
    profile = cProfile.Profile()
    profile.runcall(timed, tally)
    stats = pstats.Stats(profile)
    spent = dict.fromkeys(PARTS, 0.0)
    for (_, _, function), (_, _, _, cumulative, _) in stats.stats.items():
        if function in spent:
            spent[function] += cumulative
    return [(part, seconds / stats.total_tt) for part, seconds in spent.items()]


def table(runs: list[tuple[str, list[Row]]]) -> list[str]:
    lines = [
        f"Targets: {TARGET_OF_ONE:g} s a measure and sex, {TARGET_OF_ALL:g} s for all measures, whatever the number of "
        "people. Each with the choice between the methods, smoothing, bands over 24 sites and diagnostics. Seconds of "
        "processor time, all threads together.",
        "",
        "| people | curves | cells of the largest | slowest fit | its time, s | all, s | before, s | within targets |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for label, found in runs:
        slowest = max(found, key=lambda row: row[-1])
        total = sum(row[-1] for row in found)
        is_within = slowest[-1] < TARGET_OF_ONE and total < TARGET_OF_ALL
        lines.append(
            f"| {label} | {len(found)} | {max(row[3] for row in found):,} | {slowest[0]}, {slowest[1]} "
            f"({slowest[4]}) | {slowest[-1]:.2f} | {total:.1f} | {BEFORE.get(label, '')} | "
            f"{'yes' if is_within else 'no'} |"
        )
    return lines


def page(runs: list[tuple[str, list[Row]]], spent: list[tuple[str, float]]) -> str:
    lines = ["# Smooth curves: time", "", "Made by `python tests/benchmarks/curve_speed.py`.", "", *table(runs), ""]
    lines += [
        "Before: this script on the same machine in the same hour, with BLAS on two threads (half of the time went to "
        "threads that waited), ages sorted and splines worked out a cell at a time, and an exponential for each of "
        "value, slope and likelihood. The curves agree with those of before to twelve digits; no tolerance moved.",
        "",
        f"## Where the time goes, {SIZES[-1]:,} people",
        "",
        "| part | function | share |",
        "| --- | --- | --- |",
    ]
    lines += [f"| {PARTS[part]} | `{part}` | {share:.0%} |" for part, share in spent]
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> None:
    if arguments:
        print("\n".join(table([(arguments[0], timed(stored_tally(Path(arguments[0]))))])))
        return
    runs = [(f"{size:,}", timed(invented_tally(size))) for size in SIZES]
    runs.append((f"{SIZES[-1]:,}, outside the family", timed(invented_tally(SIZES[-1], is_mixed=True))))
    text = page(runs, shares(invented_tally(SIZES[-1])))
    RESULTS.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(sys.argv[1:])
