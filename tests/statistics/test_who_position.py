"""The cohort beside the centiles of the reference, on invented counts."""

import polars as pl
import pytest
from scipy.stats import norm

from pipeline.statistics.published_proportion import proportions_of_all
from pipeline.statistics.who_position import centile_edges, who_position_table

AGES = [(5, 9), (10, 14), (5, 19), (20, 99), (5, 99)]


def counts_of(*rows):
    names = ["site", "period", "sex", "age", "percentile", "n", "denominator"]
    return pl.DataFrame(rows, schema=names, orient="row")


def test_an_edge_is_the_last_printed_score_below_the_centile():
    edges = dict(centile_edges([3, 50, 85, 97], 100).rows())
    for percentile, edge in edges.items():
        assert edge / 100 < norm.ppf(percentile / 100) <= (edge + 1) / 100
    assert edges == {3: -189, 50: -1, 85: 103, 97: 188}


def test_a_row_counts_all_sites_with_sites_as_clusters():
    table = who_position_table(
        counts_of(
            ("a", "2025Q1", "female", 7, 85, 40, 60), ("a", "2025Q1", "male", 8, 85, 30, 45),
            ("b", "2025Q1", "female", 6, 85, 50, 80), ("b", "2025Q1", "male", 12, 85, 20, 25),
        ),
        AGES,
    )  # fmt: skip
    row = table.row(by_predicate=(pl.col("sex") == "all") & (pl.col("age_to") == 9), named=True)
    expected = proportions_of_all([[70, 50]], [[105, 80]]).row(0, named=True)
    assert (row["n"], row["denominator"], row["expected"]) == (120, 185, 0.85)
    assert row["proportion"] == pytest.approx(120 / 185)
    assert (row["low"], row["high"]) == (expected["low"], expected["high"])
    assert row["method"].endswith(expected["method"]) and row["method"].startswith("WHO 2007")
    assert set(table.select("age_from", "age_to").rows()) == {(5, 9), (10, 14), (5, 19)}


def test_nobody_below_a_centile_is_a_zero_and_no_counts_give_no_rows():
    row = who_position_table(counts_of(("a", "2025Q1", "male", 7, 3, 0, 50)), [(5, 9)]).row(0, named=True)
    assert (row["n"], row["proportion"], row["low"]) == (0, 0.0, 0.0)
    nothing = counts_of(("a", "2025Q1", "male", 7, 3, 0, 50)).clear()
    assert who_position_table(nothing, AGES).is_empty()
