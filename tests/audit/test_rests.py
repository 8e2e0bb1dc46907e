"""What is left of a published total: few people in its withheld parts together are found, none or enough are not.

Mechanics: all people are invented. Each release is taken as published but for the counts named.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_counts import at, percentile, prevalence, withheld

from pipeline.audit import audit_tables
from pipeline.programme import Disclosure

RULES = Disclosure()


def left_of(truth: dict[str, pl.DataFrame], gone: dict[str, pl.Expr]) -> pl.DataFrame:
    published = {name: withheld(rows, gone[name]) if name in gone else rows for name, rows in truth.items()}
    return audit_tables(truth, published, RULES).cells.filter(verdict="rest")


def bands(*counts: int) -> dict[str, pl.DataFrame]:
    """The women of one site and one age group, all of whom are all sites too."""
    people = np.zeros((1, 2, 1, 4), int)
    people[0, 0, 0] = counts
    return {"prevalence": prevalence(people).filter(at(site=None, sex="female"))}


def test_bands_that_hold_nine_together_are_found_and_ten_or_none_are_not():
    two = {"prevalence": pl.col("band").is_in(["under", "obese"])}
    found = left_of(bands(4, 40, 30, 5), two)
    assert found.select("kind", "family", "sex", "n").rows() == [("people", "body_fat", "female", 9)]
    assert left_of(bands(5, 40, 30, 5), two).is_empty()
    assert left_of(bands(0, 40, 30, 0), two).is_empty()


def test_where_the_group_is_withheld_too_nothing_is_left_of_it():
    assert left_of(bands(4, 40, 30, 5), {"prevalence": pl.lit(True)}).is_empty()


def counts_of(sites: list[int]) -> dict[str, pl.DataFrame]:
    people = np.zeros((len(sites), 2, 1, 2), int)
    people[:, 0, 0, 0] = sites
    return {"percentile": percentile(people).filter(sex="female")}


@pytest.mark.parametrize(("small", "n"), [((2, 7), 9), ((3, 7), None)])
def test_sites_that_hold_nine_together_are_found_and_ten_are_not(small, n):
    found = left_of(counts_of([*small, 50, 60]), {"percentile": pl.col("site").is_in(["site-0", "site-1"])})
    assert found["n"].to_list() == ([] if n is None else [n])
    assert found["site"].to_list() == ([] if n is None else [""])


def test_a_site_whose_count_follows_hides_no_other():
    """Site 2 is withheld, but its women and men are not: it follows, and then 4 and 5 are left of all sites."""
    people = np.zeros((4, 2, 1, 2), int)
    people[:, 0, 0, 0] = [2, 3, 50, 60]
    people[:, 1, 0, 0] = [2, 2, 40, 60]
    of_all = pl.col("sex") == "all"
    small = pl.col("site").is_in(["site-0", "site-1"])
    gone = small | (of_all & (pl.col("site") == "site-2"))
    found = left_of({"percentile": percentile(people)}, {"percentile": gone})
    assert dict(found.select("sex", "n").rows()) == {"all": 9, "female": 5, "male": 4}


def test_ages_that_a_banding_leaves_out_of_everybody_are_found():
    """Body fat stops at 39 here and everybody does at 59: the nine between are in two age groups, both withheld."""
    ages = ((20, 29), (30, 39), (40, 49), (50, 59))
    people = np.full((1, 2, 4, 4), 30)
    people[0, 0, 2:] = 0
    people[0, 0, 2, 0], people[0, 0, 3, 0] = 4, 5
    fat = prevalence(people[:, :, :2], ages=ages)
    everyone = percentile(people, ages=ages)
    old = (pl.col("age_from") >= 40) & (pl.col("sex") != "male")
    found = left_of({"prevalence": fat, "percentile": everyone}, {"percentile": old})
    assert found.filter(sex="female", site="")["n"].to_list() == [9]
    assert left_of({"percentile": everyone}, {"percentile": old | (pl.col("age_to") == 59)}).is_empty()
