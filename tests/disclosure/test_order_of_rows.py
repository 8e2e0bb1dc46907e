"""What is withheld does not depend on the order in which rows come, and a cell is one count wherever it is shown.

Mechanics: groups are asked about a stretch of alike rows at a time, and cells are told by one whole number each.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_tables import percentile_of, prevalence_of

from pipeline.disclosure import cells as module
from pipeline.disclosure.cells import KEY, cells_of
from pipeline.disclosure.protect import protect_period
from pipeline.disclosure.stretches import begins_stretch, stretch_of
from pipeline.programme import Disclosure

RULES = Disclosure()
ORDER = {
    "prevalence": ["banding", "band", "site", "sex", "age_from", "age_to"],
    "percentile": ["measure", "site", "sex", "age_from", "age_to", "percentile"],
}


def tables(seed: int) -> dict[str, pl.DataFrame]:
    people = np.random.default_rng(seed).poisson(7, (4, 2, 3, 4))
    return {"prevalence": prevalence_of(people), "percentile": percentile_of(people)}


@pytest.mark.parametrize("most", [1 << 62, 50])
@pytest.mark.parametrize("seed", range(2))
def test_cells_stand_in_the_order_of_their_keys_and_rows_show_theirs(seed, most, monkeypatch):
    monkeypatch.setattr(module, "_MOST", most)  # the second: numbers are closed up at nearly every column
    given = tables(seed)
    found = cells_of(given)
    assert found.frame.select(KEY).equals(found.frame.select(KEY).unique().sort(KEY))
    assert found.frame["cell"].to_list() == list(range(found.frame.height))
    count = found.frame["count"]
    for name, column in (("prevalence", "n"), ("prevalence", "denominator"), ("percentile", "n")):
        shown = count.gather(found.places[name][column])
        assert shown.to_list() == given[name][column].to_list()
        assert found.frame["site"].gather(found.places[name][column]).to_list() == [
            site or "" for site in given[name]["site"]
        ]


def test_of_a_count_and_its_withheld_twin_the_count_is_known():
    given = tables(1)
    first = pl.int_range(pl.len()) == 0
    given["percentile"] = given["percentile"].with_columns(n=pl.when(~first).then("n"))
    whole, one_gone = cells_of(tables(1)).frame, cells_of(given).frame
    assert one_gone.equals(whole)
    given["percentile"] = given["percentile"].with_columns(n=pl.lit(None, pl.Int64))
    none = cells_of(given).frame.filter(family="measure weight")
    assert none.height and none["count"].null_count() == none.height


@pytest.mark.parametrize("seed", range(3))
def test_shuffled_rows_are_withheld_alike(seed):
    given = tables(seed)
    expected = protect_period(given, RULES, is_proved=False)
    shuffled = {name: rows.sample(fraction=1, shuffle=True, seed=seed) for name, rows in given.items()}
    found = protect_period(shuffled, RULES, is_proved=False)
    for name, order in ORDER.items():
        assert found[name].sort(order).equals(expected[name].sort(order))
        assert 0 < expected[name]["n"].null_count() < expected[name].height


def test_a_stretch_ends_where_any_column_changes_and_null_is_a_value():
    rows = pl.DataFrame({"a": ["x", "x", None, None, "x"], "b": [1, 1, 1, 2, 2]})
    assert begins_stretch(rows, ["a", "b"]).to_list() == [True, False, True, True, True]
    assert stretch_of(rows, ["a"]).to_list() == [0, 0, 1, 1, 2]
    assert stretch_of(rows.clear(), ["a"]).to_list() == []
