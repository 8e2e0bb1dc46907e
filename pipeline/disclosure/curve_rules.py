"""Smooth curves and how well they fit: what of them may be shown.

Each person counts once over all periods, in ages and groups that no other table shows, so a count is told as a whole
multiple of minimum_count: neighbouring ages, and totals less their parts, then give no count of a single year away. A
curve is drawn where minimum_people_for_percentile people are near, and a percentile of it where minimum_count of them
are expected on either side, as for percentiles of groups.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.special import ndtr

from pipeline.disclosure.percentile_tail import percentile_is_open
from pipeline.disclosure.rounding import down_to_multiple, downward, step_of, to_nearest, upward
from pipeline.programme import Disclosure

_FINE = 0.01  # of z-scores and of their moments


def curve_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded counts, and whether each is withheld."""
    return _with_coarse_count(rows, rules), rows["n"] < rules.minimum_people_for_percentile


def percentile_curve_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded counts, and whether each is withheld."""
    n, percentile = rows["n"].to_numpy(), rows["percentile"].cast(pl.Int64).to_numpy()
    is_open = percentile_is_open(n, percentile, rules.minimum_count) & (
        n >= rules.minimum_people_for_percentile
    )
    return _with_coarse_count(rows, rules), pl.Series(~is_open) | rows["value"].is_null()


def curve_diagnostic_as_published(rows: pl.DataFrame, rules: Disclosure) -> tuple[pl.DataFrame, pl.Series]:
    """Rows with rounded figures, and whether each is withheld.

    A share below, or a normal score, needs minimum_count people on either side of it. Shares are told to a step of at
    least one person, the rest to a hundredth.
    """
    is_share = pl.col("diagnostic") == "share_below"
    step = pl.when(is_share).then(step_of(1 / pl.col("n"))).otherwise(_FINE)
    found = rows.with_columns(
        observed=to_nearest(pl.col("observed"), step),
        expected=pl.when(is_share).then("expected").otherwise(to_nearest(pl.col("expected"), pl.lit(_FINE))),
        low=downward(pl.col("low"), step),
        high=upward(pl.col("high"), step),
    )
    n, at = rows["n"].to_numpy(), rows["at"].to_numpy()
    diagnostic = rows["diagnostic"].to_numpy()
    observed = rows["observed"].fill_null(float("nan")).to_numpy()
    share = np.select([diagnostic == "share_below", diagnostic == "worm"], [observed, ndtr(at)], 0.5)
    enough = n * np.minimum(share, 1 - share) >= rules.minimum_count
    return _with_coarse_count(found, rules), pl.Series(~enough) | (
        rows["n"] < rules.minimum_people_for_percentile
    )


def _with_coarse_count(rows: pl.DataFrame, rules: Disclosure) -> pl.DataFrame:
    return rows.with_columns(n=down_to_multiple(pl.col("n"), rules.minimum_count))
