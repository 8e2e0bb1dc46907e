"""The audit finds every planted breach and agrees, cell by cell, with two linear programmes a cell."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from invented_tables import percentile_of, prevalence_of

from pipeline.disclosure import protect
from pipeline.disclosure.audit import audit
from pipeline.programme import Disclosure

RULES = Disclosure()
people_arrays = arrays(np.int64, (3, 2, 2, 4), elements=st.sampled_from([0, 1, 3, 9, 12, 25, 40]))
GROUP = ["site", "sex", "age_from", "age_to"]


def released(people: np.ndarray) -> tuple[dict[str, pl.DataFrame], dict[str, pl.DataFrame]]:
    truth = {"prevalence": prevalence_of(people), "percentile": percentile_of(people, percentiles=(50,))}
    return truth, protect(truth, RULES)


def with_figures(shown: pl.DataFrame, true: pl.DataFrame, where: pl.Expr, figures: list[str]) -> pl.DataFrame:
    """Some rows as they were before they were withheld."""
    back = true.select(where.alias("where"), *(pl.col(name).alias(f"true_{name}") for name in figures))
    return (
        pl.concat([shown, back], how="horizontal")
        .with_columns(pl.when("where").then(f"true_{name}").otherwise(name).alias(name) for name in figures)
        .select(shown.columns)
    )


def test_a_release_with_room_is_sound():
    people = np.full((4, 2, 2, 4), 30)
    people[0, 0, 0] = [3, 25, 30, 40]
    truth, shown = released(people)
    found = audit(truth, shown, RULES)
    assert found.is_sound and found.breaches.is_empty()
    assert found.cells["count"].to_list() == [3]
    low, high = found.cells.select("low", "high").row(0)
    assert low <= 3 <= high and high - low >= 5


def test_withholding_the_small_count_alone_is_found_to_give_it_away():
    people = np.full((2, 2, 1, 4), 30)
    people[0, 0, 0, 0] = 4
    truth = {"prevalence": prevalence_of(people)}
    is_small = pl.col("n") == 4
    figures = ["n", "denominator", "proportion", "low", "high"]
    naive = truth["prevalence"].with_columns(pl.when(~is_small).then(name).alias(name) for name in figures)
    found = audit(truth, {"prevalence": naive}, RULES)
    assert found.breaches.select("verdict", "low", "high").rows() == [("given_away", 4.0, 4.0)]


def test_nothing_withheld_at_all_is_found_in_every_cell():
    people = np.full((2, 2, 1, 4), 30)
    people[0, 0, 0, 0] = 4
    truth = {"prevalence": prevalence_of(people)}
    assert audit(truth, truth, RULES).breaches["verdict"].to_list() == ["shown"]


@pytest.mark.parametrize("figure", ["proportion", "low", "high"])
def test_a_figure_left_beside_an_empty_count_is_found(figure):
    people = np.full((4, 2, 2, 4), 30)
    people[0, 0, 0] = [3, 25, 30, 40]
    truth, shown = released(people)
    is_small = (pl.col("n") == 3) & (pl.col("sex") == "female")
    shown["prevalence"] = with_figures(shown["prevalence"], truth["prevalence"], is_small, [figure])
    assert audit(truth, shown, RULES).breaches["verdict"].to_list() == ["figure"]


def test_without_linear_programmes_what_examples_do_not_prove_is_not_taken_as_sound():
    people = np.full((2, 2, 1, 4), 30)
    people[0, 0, 0, 0] = 4
    truth = {"prevalence": prevalence_of(people)}
    naive = {
        "prevalence": truth["prevalence"]
        .with_columns(n=pl.when(pl.col("n") != 4).then("n"))
        .with_columns(
            pl.when(pl.col("n").is_not_null()).then(name).alias(name)
            for name in ("proportion", "low", "high")
        )
    }
    found = audit(truth, naive, RULES, most_programmes=0)
    assert found.breaches["verdict"].to_list() == ["unproven"] and not found.is_sound


def test_a_published_count_that_is_not_the_true_one_is_refused():
    truth, shown = released(np.full((2, 2, 1, 4), 30))
    wrong = {**shown, "prevalence": shown["prevalence"].with_columns(n=pl.col("n") + 1)}
    with pytest.raises(ValueError, match="table prevalence, column n: a published count differs"):
        audit(truth, wrong, RULES)
    short = {**shown, "prevalence": shown["prevalence"].head(3)}
    with pytest.raises(ValueError, match="3 rows published of"):
        audit(truth, short, RULES)


@settings(max_examples=40, deadline=None)
@given(people_arrays, st.randoms(use_true_random=False))
def test_a_planted_breach_is_always_found(people, chance):
    """The other bands of a group are put back beside a withheld small one: it is then their difference."""
    assume(people.sum() > 0)
    truth, shown = released(people)
    before, after = truth["prevalence"], shown["prevalence"]
    small = before.with_columns(gone=after["n"].is_null()).filter(
        pl.col("gone") & pl.col("n").is_between(1, 9) & (pl.col("denominator") >= 10)
    )
    assume(small.height)
    target = small.row(chance.randrange(small.height), named=True)
    in_group = pl.all_horizontal(pl.col(name).eq_missing(pl.lit(target[name])) for name in GROUP)
    figures = ["n", "denominator"]
    planted = with_figures(after, before, in_group & (pl.col("band") != target["band"]), figures)
    found = audit(truth, {**shown, "prevalence": planted}, RULES).breaches
    key = [name for name in GROUP if name != "site"]
    hit = found.filter((pl.col("site") == (target["site"] or "")) & (pl.col("band") == target["band"])).join(
        pl.DataFrame([{name: target[name] for name in key}]), on=key
    )
    assert hit["verdict"].to_list() == ["given_away"]
    assert hit.select("low", "high").row(0) == pytest.approx((target["n"], target["n"]), abs=1e-6)
