"""Which rows a release has, and what a row says by being there.

A group that nobody is in has no rows, so a row, even a withheld one, would say that somebody is there: of a single site
that tells 0 from 1 by sex and age, and one person is nearly a name. Therefore a site's rows of a group of which no
figure is shown are left out. They would show nothing, so nothing is lost, and their absence means nobody or withheld.

    prevalence    a site's rows of one group, all its bands, go together when none of them shows a figure. All sites
                  together keep their withheld rows: they tell of no single site.
    percentile    the same of every group, all sites too.
    standardised_prevalence, site_comparison
                  a site's rows go where the group they are worked out of has gone.
    data_quality  every row stays: that a site sent rows in a period says that somebody was there, and that a check has
                  a row, that it spoke of one at least.

Coarser groups are what a reader is left with where finer ones are withheld: totals are the dearest to withhold
(losses.py), so the finest go first. To leave out, besides, what could be shown of a site's finest level, where that is
less than half, was tried on the demo and gave back nothing: 2,448 instead of 2,898 figures of a site's totals of age,
and 313 instead of 8,191 of its age groups. Nor are sites with few people pooled into a group of their own. All sites
less those that are shown is that pool: a reader has its figures already, and where not, they must not have them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.stretches import begins_stretch, stretch_of

CHECKS = ("hold", "set_aside", "flag")  # the bands of rows that a check spoke of
ALWAYS_THERE = ("data_quality", "total")
_PLACE = ["site", "period", "sex", "age_from", "age_to"]
_BASIS = {
    "prevalence": ("banding", "n"),
    "percentile": ("measure", "value"),
}  # table → topic, figure to be shown
_WORKED_OUT = {"standardised_prevalence": "banding", "site_comparison": "topic"}


@dataclass(frozen=True)
class Presence:
    """What rows say by being there, and what no row says.

    Shapes   both (cells,) of bool. hidden: no row shows the cell whatever is withheld. is_there: a count of people, or
             of rows that a check spoke of, of which a row stays even when it is withheld: at least one.
    """

    hidden: np.ndarray
    is_there: np.ndarray

    @classmethod
    def of(cls, cells: Cells, closed: dict[str, np.ndarray] | None = None) -> Presence:
        """closed: table → (rows,) of bool, rows that show no figure for a reason of their own; none unless given."""
        shown, stays = (np.zeros(cells.frame.height, dtype=bool) for _ in range(2))
        at_all_sites = (cells.frame["site"] == "").to_numpy()
        for name, places in cells.places.items():
            is_open = ~closed[name] if closed and name in closed else np.ones(places.height, dtype=bool)
            for column in places.columns:
                at = places[column].to_numpy()
                shown[at[is_open]] = True
                if name in ALWAYS_THERE:
                    stays[at] = True
                elif name == "prevalence":
                    stays[at] |= at_all_sites[at]
        is_people, is_check = (cells.frame["kind"] == "people"), cells.frame["band"].is_in(CHECKS)
        return cls(~shown, stays & (is_people | (is_check & (cells.frame["kind"] == "rows"))).to_numpy())


def without_silent_groups(tables: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Protected tables without the rows that would say nothing but that somebody is there.

    Shapes   tables: of protect, every row still in it; other tables come back as they are.
    """
    kept = dict(tables)
    for name in _BASIS.keys() & tables.keys():
        topic, figure = _BASIS[name]
        at_all_sites = pl.col("site").is_null() & pl.lit(name == "prevalence")
        kept[name] = tables[name].filter(_of_a_group_that_says_something(tables[name], topic, figure) | at_all_sites)
    for name in _WORKED_OUT.keys() & tables.keys():
        rows, topic = tables[name], _WORKED_OUT[name]
        key = [topic, *_PLACE]
        left = [
            _groups(kept[basis], of).rename({of: topic})
            for basis, (of, _) in _BASIS.items()
            if basis in kept
        ]
        if left:
            there = pl.concat(left, how="vertical_relaxed").cast(
                {column: rows.schema[column] for column in key}
            )
            marked = rows.join(
                there.with_columns(is_there=pl.lit(True)),
                on=key,
                how="left",
                nulls_equal=True,
                maintain_order="left",
            )
            kept[name] = rows.filter(marked["is_there"].fill_null(False) | rows["site"].is_null())
    return kept


def _of_a_group_that_says_something(rows: pl.DataFrame, topic: str, figure: str) -> pl.Series:
    """Whether the figure stands in any row of each row's group."""
    group = [topic, *_PLACE]
    stretch = stretch_of(rows, group)
    is_shown = np.bincount(stretch.to_numpy(), rows[figure].is_not_null().to_numpy()) > 0
    firsts = rows.select(group).filter(stretch.ne_missing(stretch.shift())).with_columns(is_shown=pl.Series(is_shown))
    return firsts.select(pl.col("is_shown").any().over(group)).to_series().gather(stretch)


def _groups(rows: pl.DataFrame, topic: str) -> pl.DataFrame:
    group = [topic, *_PLACE]
    return rows.select(group).filter(begins_stretch(rows, group)).unique()
