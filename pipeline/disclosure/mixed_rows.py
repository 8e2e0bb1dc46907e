"""Rows of a version in which some figures are those of the version before: which row is taken from which."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.disclosure.cells import KEY, cells_of
from pipeline.disclosure.version_pair import COUNTED, VersionPair

OF_ONE_SITE = ("standardised_prevalence", "instrument_check")  # a site's rows rest on that site alone


def mixed_rows(
    name: str,
    before: pl.DataFrame | None,
    after: pl.DataFrame,
    last: VersionPair,
    kept: np.ndarray,
    minimum_count: int,
    key: tuple[str, ...],
) -> pl.DataFrame:
    """Each row of one version or the other."""
    if before is None:
        return after.clear()
    is_new = (
        _counted_rows(name, after, last, kept, minimum_count)
        if name in COUNTED
        else _derived_rows(name, after, last, kept)
    )
    taken = after.filter(pl.Series(is_new, dtype=pl.Boolean))
    rest = before.join(taken.select(key), on=list(key), how="anti", nulls_equal=True)
    return pl.concat([taken, rest.select(taken.columns).cast(dict(taken.schema))])


def _counted_rows(
    name: str, after: pl.DataFrame, last: VersionPair, kept: np.ndarray, minimum_count: int
) -> np.ndarray:
    """A row is taken from the new version when a count in it changed and none of its counts is kept.

    A percentile whose count did not change is taken when so many people of the group moved from band to band that
    their change is no few people's.
    """
    cells = cells_of({name: after})
    numbered = cells.frame.select(*KEY).join(
        last.frame.select(*KEY, "cell"), on=KEY, how="left", maintain_order="left"
    )
    place = numbered["cell"].to_numpy()
    places = [place[cells.places[name][column].to_numpy()] for column in cells.places[name].columns]
    change, may = np.where(kept, 0, last.change), last.may_change
    is_told = np.any([change[cell] != 0 for cell in places], axis=0)
    is_clear = np.all([may[cell] & ((last.change[cell] == 0) | ~kept[cell]) for cell in places], axis=0)
    if name == "percentile":
        is_told |= _have_moved(after, last, change) >= minimum_count
    # rows of a site that had none before, withheld ones too, are the new version's
    is_new_site = np.all([last.frame["site_is_new"].to_numpy()[cell] for cell in places], axis=0)
    is_taken = (is_told & is_clear) | (is_new_site & ~np.any([kept[cell] for cell in places], axis=0))
    return _whole_groups_of(after, is_taken, is_told | is_new_site) if name == "prevalence" else is_taken


def _whole_groups_of(after: pl.DataFrame, is_taken: np.ndarray, is_asked: np.ndarray) -> np.ndarray:
    """The rows of the groups in which every row that could be taken is. So a group's bands add up."""
    group = [
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
        pl.col("banding").replace("bmi_adult_asian", "bmi_adult"),
    ]
    marked = after.with_columns(refused=pl.Series(is_asked & ~is_taken), taken=pl.Series(is_taken))
    return marked.select(pl.col("taken") & ~pl.col("refused").any().over(group)).to_series().to_numpy()


def _have_moved(rows: pl.DataFrame, last: VersionPair, change: np.ndarray) -> np.ndarray:
    """How many people of each row's group are known to have moved into other bands."""
    group = ["site", "period", "sex", "age_from", "age_to"]
    moved = (
        last.frame.with_columns(gain=pl.Series(np.maximum(change, 0)))
        .filter(pl.col("kind") == "band")
        .group_by("family", *group)
        .agg(pl.col("gain").sum())
        .group_by(group)
        .agg(pl.col("gain").max())
    )
    keyed = rows.select(
        pl.col("site").fill_null(""),
        "period",
        "sex",
        pl.col("age_from").cast(pl.Int64),
        pl.col("age_to").cast(pl.Int64),
    )
    return keyed.join(moved, on=group, how="left", maintain_order="left")["gain"].fill_null(0).to_numpy()


def _derived_rows(name: str, after: pl.DataFrame, last: VersionPair, kept: np.ndarray) -> np.ndarray:
    """A figure worked out of counts is taken where none of the counts that it can rest on is kept: those of its own
    site in the tables of OF_ONE_SITE, any at all elsewhere, since all sites together rest on every site."""
    touched = sorted(set(last.frame.filter(pl.Series(kept))["site"].unique()))
    if not touched:
        return np.ones(after.height, dtype=bool)
    if name not in OF_ONE_SITE:
        return np.zeros(after.height, dtype=bool)
    return (after["site"].is_not_null() & ~after["site"].fill_null("").is_in(touched)).to_numpy()
