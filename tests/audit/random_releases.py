"""Random people, seeded → results, what the suppressor publishes of them, and the same with a breach planted in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from invented_counts import at, percentile, prevalence

from pipeline.disclosure import protect
from pipeline.programme import Disclosure

RULES = Disclosure()
SIZES = np.array([0, 0, 1, 2, 3, 5, 8, 9, 10, 12, 18, 25, 40])
GROUP = ("site", "sex", "age_from", "age_to")


@dataclass(frozen=True)
class Release:
    """One random release. planted: as published, but every other band of the group of `target` is shown again."""

    truth: dict[str, pl.DataFrame]
    published: dict[str, pl.DataFrame]
    planted: dict[str, pl.DataFrame] | None
    target: dict | None


def release(seed: int) -> Release:
    """Two to four sites, two sexes, one to three ages, two to six bands; sizes from nobody to forty.

    planted is None where nothing small is withheld in a group that is large enough.
    """
    chance = np.random.default_rng(seed)
    banding, bands = [("body_fat", 4), ("visceral_fat", 2), ("hydration", 3), ("bmi_adult", 6)][
        chance.integers(4)
    ]
    shape = (int(chance.integers(2, 5)), 2, int(chance.integers(1, 4)), bands)
    people = chance.choice(SIZES, shape)
    truth = {"prevalence": prevalence(people, banding), "percentile": percentile(people)}
    published = protect(truth, RULES)
    published["percentile"] = published["percentile"].filter(pl.col("value").is_not_null())
    return Release(truth, published, *_planted(truth["prevalence"], published["prevalence"], chance))


def _planted(
    true: pl.DataFrame, shown: pl.DataFrame, chance: np.random.Generator
) -> tuple[dict[str, pl.DataFrame] | None, dict | None]:
    key = ["band", "site", "sex", "age_from", "age_to"]
    gone = true.join(shown.filter(pl.col("n").is_not_null()), on=key, how="anti", nulls_equal=True)
    small = gone.filter(pl.col("n").is_between(1, 9) & (pl.col("denominator") >= 10)).sort(key)
    if small.is_empty():
        return None, None
    target = small.row(int(chance.integers(small.height)), named=True)
    group = at(**{name: target[name] for name in GROUP})
    others = true.filter(group & (pl.col("band") != target["band"]))
    rest = shown.join(others.select(key), on=key, how="anti", nulls_equal=True)
    return {"prevalence": pl.concat([rest, others.select(rest.columns)], how="vertical_relaxed")}, target
