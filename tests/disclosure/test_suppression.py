"""Whatever a reader adds up, no sensitive count can be placed too closely."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from invented_tables import data_quality_of, percentile_of, prevalence_of
from protection import unprotected

from pipeline.disclosure import protect
from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.complementary import with_complements
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.losses import Losses
from pipeline.disclosure.need import needed_width
from pipeline.disclosure.presence import Presence
from pipeline.disclosure.primary import sensitive_cells
from pipeline.disclosure.proof import without_room
from pipeline.disclosure.reader import pieces_of
from pipeline.disclosure.suppression import suppressed
from pipeline.programme import Disclosure

MINIMUM = 10
RULES = Disclosure()


def released(people: np.ndarray, measured: np.ndarray) -> dict[str, pl.DataFrame]:
    """Bands of body fat, percentiles of weight and of body fat, which some lack, and people in data quality."""
    sites = [(f"site-{i}", int(people[i].sum())) for i in range(people.shape[0])]
    quality = [
        (site, "2025Q1", "people", "count", n, n) for site, n in [*sites, (None, int(people.sum()))] if n
    ]
    tables = {
        "prevalence": prevalence_of(measured),
        "percentile": pl.concat(
            [
                percentile_of(people, percentiles=(10, 50)),
                percentile_of(measured, "body_fat_percent", percentiles=(10, 50)),
            ]
        ),
        "data_quality": data_quality_of(quality)
        if quality
        else data_quality_of([("s", None, "people", "count", 0, 0)]),
    }
    return tables


COUNTS = st.sampled_from([0, 0, 0, 1, 2, 4, 5, 9, 10, 14, 30, 80])
tables = arrays(np.int64, (3, 2, 2, 4), elements=COUNTS)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(tables, st.booleans())
def test_every_sensitive_count_of_a_random_release_is_protected(measured, some_are_not_measured):
    people = measured + (np.arange(measured.size).reshape(measured.shape) % 5 == 0) * some_are_not_measured
    assume(measured.any())
    truth = released(people, measured)
    assert unprotected(truth, protect(truth, RULES), MINIMUM) == []


def thin(seed: int = 4) -> dict[str, pl.DataFrame]:
    chance = np.random.default_rng(seed)
    return {"prevalence": prevalence_of(chance.poisson(chance.gamma(1, 12, (3, 2, 2, 4))))}


def test_counts_that_single_sums_protect_and_several_corner_are_given_room():
    cells = cells_of(thin())
    equations, sensitive = equations_of(cells), sensitive_cells(cells, MINIMUM)
    losses, presence = Losses.of(cells, equations), Presence.of(cells)
    by_sums = with_complements(cells, equations, sensitive, MINIMUM, losses)
    gone, _ = suppressed(cells, equations, sensitive, MINIMUM)
    (piece,) = pieces_of(cells, equations, losses, needed_width(cells, sensitive, MINIMUM), presence)
    assert without_room(piece, np.isin(piece.classes, losses.twins[by_sums])).any()
    final = np.isin(piece.classes, losses.twins[gone])
    for part in piece.unknown(final).parts():  # each by its own two programmes: nothing more is needed
        for at in np.flatnonzero(piece.need[part.cell]):
            low, high = part.interval(int(at))
            assert high - low >= piece.need[part.cell[at]] - 1e-6
    assert (gone | ~sensitive).all()
    assert unprotected(thin(), protect(thin(), RULES), MINIMUM) == []


def test_a_release_with_room_is_left_as_it_is():
    cells = cells_of({"prevalence": prevalence_of(np.full((3, 2, 2, 4), 30))})
    gone, _ = suppressed(cells, equations_of(cells), sensitive_cells(cells, MINIMUM), MINIMUM)
    assert not gone.any()


@pytest.mark.parametrize("people", [0, 1, 9, 10])
def test_a_site_with_a_handful_of_people_has_no_rows_and_one_of_ten_has(people):
    counts = np.full((3, 2, 1, 4), 30)
    counts[0] = 0
    counts[0, 0, 0, 1] = people
    found = protect({"prevalence": prevalence_of(counts)}, RULES)["prevalence"]
    assert ("site-0" in found["site"].to_list()) == (people == 10)


def test_withheld_rows_of_all_sites_stay_for_they_tell_of_no_single_one():
    counts = np.full((3, 2, 1, 4), 30)
    counts[:, 0] = [1, 0, 0, 0]  # three women at all sites together
    women = protect({"prevalence": prevalence_of(counts)}, RULES)["prevalence"].filter(sex="female")
    assert women["site"].unique().to_list() == [None]
    assert women["n"].null_count() == women.height == 4


def test_withheld_rows_stay_beside_a_figure_of_their_group():
    counts = np.full((3, 2, 1, 4), 30)
    counts[:2, 1, 0] = [4, 30, 30, 30]
    found = protect({"prevalence": prevalence_of(counts)}, RULES)["prevalence"]
    of_site = found.filter(site="site-0", sex="male")
    assert of_site.height == 4 and 0 < of_site["n"].null_count() < 4


def test_a_figure_worked_out_of_a_group_that_is_left_out_is_left_out():
    counts = np.full((3, 2, 1, 4), 30)
    counts[0] = 1
    prevalence = prevalence_of(counts)
    standardised = prevalence.drop("proportion").with_columns(
        standard=pl.lit("who-world"), proportion=pl.lit(0.25), person_weight=pl.lit(0.001)
    )
    found = protect({"prevalence": prevalence, "standardised_prevalence": standardised}, RULES)
    assert (
        set(found["standardised_prevalence"]["site"])
        == set(found["prevalence"]["site"])
        != set(prevalence["site"])
    )


SAME = """
import sys; sys.path.insert(0, "tests/disclosure")
from test_suppression import thin
from pipeline.disclosure import protect
from pipeline.programme import Disclosure
print(protect({"prevalence": thin(7)["prevalence"]}, Disclosure())["prevalence"].write_csv())
"""


def test_the_same_results_give_the_same_release_in_another_process():
    runs = {
        subprocess.run(
            [sys.executable, "-c", SAME],
            env=os.environ | {"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(runs) == 1 and "prevalence" not in runs and next(iter(runs)).count("\n") > 50
