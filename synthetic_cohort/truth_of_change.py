"""What became of everybody's weight, seen again or not: the truth that estimates of change are held against."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

from synthetic_cohort import growth
from synthetic_cohort.bodies import SEASON_KG
from synthetic_cohort.programme_effect import progress
from synthetic_cohort.visits import DAYS_A_QUARTER, FIRST_DAY, quarter_day

ADULT_FROM = 20


@dataclass(frozen=True)
class TrueChange:
    """Means over people, in kg: the whole change, and the part that is the programme's."""

    people: int
    change_kg: float
    programme_kg: float


def true_changes(folder: Path, day: float, tolerance_days: int, last: date) -> TrueChange:
    """Mean true change of adults from entry to `day` days after, of those whose follow-up was over by `last`.

    Entry is the first reading on or after the day on which the programme began at its site, as the pipeline has it.
    Adults neither grow nor age in weight: what changes is the programme's doing and the season's.

    Shapes   folder: a demo programme, with truth/.
    Errors   FileNotFoundError when the folder has no truth.
    """
    who = _entered(folder)
    due = who.filter(pl.col("entry_on") + pl.duration(days=round(day) + tolerance_days) <= last)
    entry = (due["entry_on"].to_numpy().astype("datetime64[D]") - FIRST_DAY).astype(int)
    first = (due["first_visit"].to_numpy().astype("datetime64[D]") - FIRST_DAY).astype(int)
    begins = np.maximum(first, due["programme_day"].to_numpy())
    is_female = (due["sex"] == "female").to_numpy()
    age = due["age_months"].to_numpy() / 12 + 1 / 24
    untouched = growth.bmi(age, is_female, due["bmi_z"].to_numpy()) * (due["height_cm"].to_numpy() / 100) ** 2

    def programme(at: np.ndarray) -> np.ndarray:
        quarters = np.maximum(at - begins, 0) / DAYS_A_QUARTER
        return untouched * due["response"].to_numpy() * progress(quarters)

    def season(at: np.ndarray) -> np.ndarray:
        return SEASON_KG * untouched / 75 * np.cos(2 * np.pi * (at - 14) / 365.25)

    by_programme = programme(entry + day) - programme(entry)
    by_season = season(entry + day) - season(entry)
    return TrueChange(due.height, float((by_programme + by_season).mean()), float(by_programme.mean()))


def _entered(folder: Path) -> pl.DataFrame:
    """Adults at entry: one row a person, with the day of entry and the day from which the programme works on them."""
    truth = folder / "truth"
    sites = pl.read_parquet(truth / "sites.parquet", glob=False).select("site", "programme_quarter")
    quarters = {f"{2024 + i // 4}Q{i % 4 + 1}": quarter_day(i) for i in range(80)}
    starts = sites.with_columns(
        programme_day=pl.col("programme_quarter").replace_strict(quarters, return_dtype=pl.Int64)
    )
    readings = pl.read_parquet(sorted((truth / "readings").glob("*.parquet")), glob=False).filter(~pl.col("is_repeat"))
    counted = readings.join(starts, on="site").filter(
        pl.col("measured_at").dt.date() >= pl.lit(FIRST_DAY).cast(pl.Date) + pl.duration(days="programme_day")
    )
    entry = (
        counted.sort("measured_at")
        .group_by("person", maintain_order=True)
        .agg(entry_on=pl.col("measured_at").first().dt.date(), age=pl.col("age").first())
    )
    people = pl.read_parquet(truth / "people.parquet", glob=False).join(
        starts.select("programme_day", home="site"), on="home"
    )
    return people.join(entry.filter(pl.col("age") >= ADULT_FROM), on="person").sort("person")
