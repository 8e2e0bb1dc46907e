"""The equations of an invented release hold in its true counts, and are the ones a reader knows."""

from __future__ import annotations

import numpy as np
import polars as pl
from invented_tables import data_quality_of, percentile_of, prevalence_of

from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.equations import equations_of, tilings_of


def release() -> dict[str, pl.DataFrame]:
    people = np.random.default_rng(5).poisson(6, (3, 2, 3, 4))
    asian = np.random.default_rng(6).poisson(20, (3, 2, 3, 4))
    who = np.stack(
        [
            asian[..., 0],
            asian[..., 1] + 2,
            asian[..., 2] - 2 + 1,
            asian[..., 3] - 3,
            asian[..., 3] * 0 + 1,
            asian[..., 3] * 0 + 1,
        ],
        axis=3,
    )  # 2 between 23 and 25, 1 between 27.5 and 30
    quality = data_quality_of(
        [
            ("quay", None, "rows_read", "count", 100, 100),
            ("quay", None, "rows_accepted", "count", 90, 100),
            ("quay", None, "rows_held", "count", 7, 100),
            ("quay", None, "rows_duplicate", "count", 3, 100),
            ("quay", None, "rows_superseded", "count", 0, 100),
            ("quay", None, "weight_range", "hold", 7, 100),
            ("quay", "2025Q1", "readings", "count", 85, 90),
            ("quay", "2025Q1", "height_changed", "set_aside", 5, 90),
        ]
    )
    return {
        "prevalence": pl.concat(
            [prevalence_of(people), prevalence_of(asian, "bmi_adult_asian"), prevalence_of(who, "bmi_adult")]
        ),
        "percentile": percentile_of(people, "body_fat_percent"),
        "data_quality": quality,
        "total": pl.DataFrame({"item": ["readings"], "n": [90]}),
    }


def test_every_equation_holds_and_has_one_total():
    cells = cells_of(release())
    equations = equations_of(cells).join(cells.frame.select("cell", "count"), on="cell")
    sums = equations.group_by("kind", "equation").agg(
        totals=pl.col("is_total").sum(),
        parts=(~pl.col("is_total")).sum(),
        left=pl.col("count").filter("is_total").sum() - pl.col("count").filter(~pl.col("is_total")).sum(),
    )
    assert set(sums["kind"]) == {"band", "sex", "age", "site", "twin", "edge", "rows"}
    assert sums.filter((pl.col("totals") != 1) | (pl.col("parts") < 1) | (pl.col("left") != 0)).is_empty()


def test_one_count_shown_in_many_rows_is_one_cell():
    people = np.full((2, 2, 1, 4), 3)
    cells = cells_of({"prevalence": prevalence_of(people), "percentile": percentile_of(people)})
    # 3 populations × 3 sexes: 4 bands and a denominator each, and the people of the measure
    assert cells.frame.group_by("kind").len().sort("kind").rows() == [("band", 36), ("people", 18)]
    assert cells.places["percentile"]["n"].n_unique() == 9
    assert cells.places["prevalence"]["denominator"].n_unique() == 9


def test_equations_need_no_figures_but_for_twins_and_rows():
    tables = release()
    figures = {"prevalence": ["n", "denominator"], "percentile": ["n"]}
    hidden = {
        name: rows.with_columns(pl.lit(None, pl.Int64).alias(f) for f in figures.get(name, []))
        for name, rows in tables.items()
    }
    kinds = ["band", "sex", "age", "site", "edge"]
    known = equations_of(cells_of(tables)).filter(pl.col("kind").is_in(kinds)).drop("equation")
    assert equations_of(cells_of(hidden)).filter(pl.col("kind").is_in(kinds)).drop("equation").equals(known)


def test_a_total_is_tiled_by_the_finest_groups_and_by_totals_inside_it():
    ranges = {(5, 9), (10, 19), (20, 59), (60, 99), (5, 19), (20, 99), (5, 99)}
    found = {(total, tuple(parts)) for total, _, parts in tilings_of(ranges)}
    assert found == {
        ((5, 19), ((5, 9), (10, 19))),
        ((20, 99), ((20, 59), (60, 99))),
        ((5, 99), ((5, 9), (10, 19), (20, 59), (60, 99))),
        ((5, 99), ((5, 19), (20, 59), (60, 99))),
        ((5, 99), ((5, 9), (10, 19), (20, 99))),
        ((5, 99), ((5, 19), (20, 99))),
    }
