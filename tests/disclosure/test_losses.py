"""Which cells go together, whatever the reason that one of them goes."""

from __future__ import annotations

import numpy as np
import polars as pl
from invented_tables import data_quality_of, percentile_of, prevalence_of

from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.disclosure.losses import Losses, with_company

PEOPLE = np.random.default_rng(3).poisson(40, (2, 2, 1, 4))
MEASURED = PEOPLE - 1  # not everybody has body fat


def company_of(where: dict[str, str]) -> set[tuple[str, str]]:
    """(family, band) of the cells of one group that go when one of them goes."""
    cells = cells_of(
        {
            "prevalence": prevalence_of(MEASURED),
            "percentile": pl.concat([percentile_of(PEOPLE), percentile_of(MEASURED, "body_fat_percent")]),
        }
    )
    group = {"site": "site-0", "sex": "female"}
    chosen = cells.frame.filter(**group, **where)["cell"].to_numpy()
    withheld = np.zeros(cells.frame.height, dtype=bool)
    withheld[chosen] = True
    gone = with_company(withheld, Losses.of(cells, equations_of(cells)))
    frame = cells.frame.filter(pl.Series(gone))
    assert frame.filter(**group).height == frame.height  # no other group is touched
    return set(frame.select("family", "band").rows())


BANDS = {("banding body_fat", band) for band in ("under", "healthy", "over", "obese")}
MEASURED_PEOPLE = {("banding body_fat", ""), ("measure body_fat_percent", "")}


def test_a_band_goes_alone():
    assert company_of({"kind": "band", "band": "over"}) == {("banding body_fat", "over")}


def test_a_group_goes_with_its_bands_and_with_the_same_people_in_another_table():
    assert company_of({"kind": "people", "family": "measure body_fat_percent"}) == MEASURED_PEOPLE | BANDS


def test_everybody_goes_alone_where_not_everybody_has_the_measure():
    """How many have it says only that there are no fewer, and the programmes of proof.py know that."""
    everybody = ("measure weight", "")
    assert company_of({"kind": "people", "family": everybody[0]}) == {everybody}


def test_headlines_are_all_sites_both_sexes_and_the_widest_ages_of_adults_and_of_children():
    ages = [(5, 9), (10, 19), (5, 19), (20, 29), (30, 99), (20, 99), (5, 99)]
    rows = pl.concat(
        percentile_of(PEOPLE, measure, percentiles=(50,)).with_columns(
            age_from=pl.lit(low, pl.Int64), age_to=pl.lit(high, pl.Int64)
        )
        for low, high in ages
        for measure in ("weight", "body_fat_percent")
    )
    cells = cells_of({"percentile": rows})
    losses = Losses.of(cells, equations_of(cells))
    found = cells.frame.filter(pl.Series(losses.is_headline))
    assert set(found.select("site", "sex").rows()) == {("", "all")}
    assert set(found.select("family", "age_from", "age_to").rows()) == {
        (f"measure {measure}", *age)
        for measure in ("weight", "body_fat_percent")
        for age in [(5, 19), (20, 99)]
    }


def test_rows_are_no_headlines_and_what_is_set_aside_costs_the_readings_that_count():
    quality = data_quality_of(
        [
            (None, "2025Q1", "readings", "count", 97, 100),
            (None, "2025Q1", "height_changed", "set_aside", 3, 100),
        ]
    )
    cells = cells_of({"data_quality": quality})
    losses = Losses.of(cells, equations_of(cells))
    assert not losses.is_headline.any()
    loss = dict(zip(cells.frame["family"], losses.loss.tolist(), strict=True))
    assert loss["set aside"] == loss["readings"] >= 97 > loss["height_changed"]
