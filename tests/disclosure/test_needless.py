"""What is withheld besides is tried without: what the proof does not need is published.

Mechanics: all people are invented.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from invented_tables import prevalence_of
from protection import unprotected

from pipeline.disclosure import suppression
from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.primary import sensitive_cells

MINIMUM = 10


def small_sites(seed: int) -> pl.DataFrame:
    """Three sites of some forty people each, two sexes, two bands."""
    chance = np.random.default_rng(seed)
    people = chance.poisson(chance.dirichlet(np.full(2, 3.0), 3) * chance.lognormal(3.7, 0.8, 3)[:, None])
    excess = chance.binomial(people, 0.25)
    return prevalence_of(np.stack([people - excess, excess], axis=-1)[:, :, None, :], "visceral_fat")


def withheld_of(rows: pl.DataFrame) -> tuple[int, list]:
    """How many cells the heuristic withholds, and which sensitive counts a reader could place all the same."""
    cells = cells_of({"prevalence": rows})
    gone, _ = suppression.suppressed(
        cells, equations_of(cells), sensitive_cells(cells, MINIMUM), MINIMUM, small=0
    )
    published = rows
    for column in ("n", "denominator"):
        hidden = pl.Series(gone[cells.places["prevalence"][column].to_numpy()])
        published = published.with_columns(pl.when(~hidden).then(column).alias(column))
    return int(gone.sum()), unprotected({"prevalence": rows}, {"prevalence": published}, MINIMUM)


def test_trying_without_gives_counts_back_and_leaves_every_sensitive_one_protected(monkeypatch):
    given_back = 0
    for seed in range(8):
        rows = small_sites(seed)
        tried, open_after = withheld_of(rows)
        with monkeypatch.context() as without:
            without.setattr(suppression, "SHORT", 0)
            plain, open_before = withheld_of(rows)
        assert open_before == open_after == []
        assert tried <= plain
        given_back += plain - tried
    assert given_back > 0
