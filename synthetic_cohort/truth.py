"""The truth beside the demo, as frames: what every row, person, site, analyser and file really is.

Their columns are described in truth_columns.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from synthetic_cohort.analysers import Analysers
from synthetic_cohort.faults import FIELDS, KINDS
from synthetic_cohort.people import People, height_cm
from synthetic_cohort.places import Place
from synthetic_cohort.programme_effect import SiteEffect
from synthetic_cohort.rows import NO_LINK, Rows
from synthetic_cohort.visits import FIRST_DAY, month_of, quarter_day


@dataclass(frozen=True)
class FileFact:
    """One row of truth/files."""

    site: str
    file: str
    quarter: int
    fault: str
    expected: str
    reason: str
    rows: int


def quarter_name(quarter: int) -> str:
    return f"{2024 + quarter // 4}Q{quarter % 4 + 1}"


def reading_truth(rows: Rows, site: str, file: str, lines: np.ndarray) -> pl.DataFrame:
    """truth/readings: one row a row of a file."""
    truth = rows.truth
    quarters = month_of(truth["minute"] // 1440) // 3
    moments = FIRST_DAY.astype("datetime64[m]") + truth["minute"].astype("timedelta64[m]")
    return pl.DataFrame(
        {
            "site": pl.repeat(site, len(rows), eager=True),
            "file": pl.repeat(file, len(rows), eager=True),
            "line": lines.astype(np.int64),
            "person": truth["person"].astype(np.int64),
            "visit": truth["visit"].astype(np.int16),
            "is_repeat": truth["repeat"] > 0,
            "measured_at": moments.astype("datetime64[ms]"),
            "quarter": _words(quarters, tuple(map(quarter_name, range(int(quarters.max()) + 1)))),
            "sex": sex_words(truth["sex"]),
            "age": np.floor(truth["age"]).astype(np.int16),
            "age_months": np.floor(truth["age"] * 12).astype(np.int16),
            "height_cm": truth["height_cm"].round(2),
            "weight_kg": truth["weight_kg"].round(3),
            "fat_mass_kg": truth["fat_mass_kg"].round(3),
            "programme_change_kg": truth["programme_change_kg"].round(3),
            "analyser": truth["device"].astype(np.int16) + 1,
            "fault": _words(rows.fault, KINDS),
        }
    )


def fault_truth(rows: Rows, site: str, file: str, lines: np.ndarray) -> pl.DataFrame:
    """truth/faults: one row a faulty row; `link` stays until the other row of a pair is known."""
    at = np.flatnonzero(rows.fault > 0)
    named = rows.field[at]
    frame = pl.DataFrame(
        {
            "site": pl.repeat(site, len(at), eager=True),
            "file": pl.repeat(file, len(at), eager=True),
            "line": lines[at].astype(np.int64),
            "kind": _words(rows.fault[at], KINDS),
            "field": _words(np.where(named < 0, len(FIELDS), named), (*FIELDS, "")),
            "person": rows.truth["person"][at].astype(np.int64),
            "found": pl.Series(rows.found[at], nan_to_null=True),
            "true": pl.Series(rows.true[at], nan_to_null=True),
            "link": rows.link[at],
        }
    )
    # A sex, a yes or no, a number or a moment as text: one column says what stood and what should have.
    return frame.with_columns(_value_text("found"), _value_text("true"))


def _value_text(column: str) -> pl.Expr:
    value = pl.col(column)
    code = value.cast(pl.Int64, strict=False)
    words = (
        pl.when(pl.col("field") == "sex")
        .then(pl.when(code == 1).then(pl.lit("female")).when(code == 0).then(pl.lit("male")))
        .when(pl.col("field") == "athlete_mode")
        .then(pl.when(code == 1).then(pl.lit("yes")).when(code == 0).then(pl.lit("no")))
        .when(pl.col("field").is_in(["participant", "measured_on"]))
        .then(pl.lit(None, dtype=pl.String))
        .otherwise(value.cast(pl.String))
    )
    return words.alias(column)


def pair_ends(rows: Rows, file: str, lines: np.ndarray) -> pl.DataFrame:
    """Where the sound row of each pair stands."""
    at = np.flatnonzero((rows.link != NO_LINK) & (rows.fault == 0))
    return pl.DataFrame(
        {
            "link": rows.link[at],
            "other_file": pl.repeat(file, len(at), eager=True),
            "other_line": lines[at].astype(np.int64),
        },
        schema_overrides={"other_file": pl.String},
    )


def with_pairs(faults: pl.DataFrame, ends: pl.DataFrame) -> pl.DataFrame:
    """Faults of one site with the other row of each pair beside them."""
    return faults.join(ends, on="link", how="left", maintain_order="left").drop("link")


def totals_fault(site: str, file: str, line: int) -> pl.DataFrame:
    """truth/faults of a totals row, which is nobody's reading."""
    return pl.concat(
        [
            no_faults(),
            pl.DataFrame(
                {"site": site, "file": file, "line": line, "kind": "totals_row", "field": "", "link": NO_LINK}
            ),
        ],
        how="diagonal",
    )


def no_faults() -> pl.DataFrame:
    return pl.DataFrame(
        schema={
            "site": pl.String,
            "file": pl.String,
            "line": pl.Int64,
            "kind": pl.String,
            "field": pl.String,
            "person": pl.Int64,
            "found": pl.String,
            "true": pl.String,
            "link": pl.Int64,
        }
    )


def no_pairs() -> pl.DataFrame:
    return pl.DataFrame(schema={"link": pl.Int64, "other_file": pl.String, "other_line": pl.Int64})


def file_truth(files: list[FileFact]) -> pl.DataFrame:
    """truth/files: one row a file of the inbox."""
    schema = {
        "site": pl.String,
        "file": pl.String,
        "quarter": pl.Int64,
        "fault": pl.String,
        "expected": pl.String,
        "reason": pl.String,
        "rows": pl.Int64,
    }
    return pl.DataFrame([vars(fact) for fact in files], schema=schema).with_columns(
        pl.col("quarter").map_elements(quarter_name, return_dtype=pl.String)
    )


def site_truth(place: Place, effect: SiteEffect, readings: int, people: int) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "site": place.id,
            "name": place.name,
            "kind": place.kind,
            "layout": place.layout,
            "profile": f"profiles/{place.layout}.toml",
            "first_quarter": quarter_name(place.first_quarter),
            "programme_quarter": quarter_name(place.programme_quarter),
            "mean_change": effect.mean_change,
            "return_log_odds": effect.return_log_odds,
            "return_per_percent": effect.return_per_percent,
            "readings": readings,
            "people": people,
        }
    )


def people_truth(people: People, readings: np.ndarray, participant: pl.Series, site: str) -> pl.DataFrame:
    """truth/people: those who joined at a site, wherever they were measured later."""
    return pl.DataFrame(
        {
            "person": people.number,
            "home": pl.repeat(site, len(people), eager=True),
            "participant": participant.cast(pl.String),
            "sex": sex_words(people.is_female.astype(np.int8)),
            "age_months": np.floor(people.age * 12).astype(np.int16),
            "first_visit": FIRST_DAY + people.first_day.astype("timedelta64[D]"),
            "height_cm": height_cm(people, people.age).round(2),
            "height_z": people.height_z.astype(np.float32),
            "bmi_z": people.bmi_z.astype(np.float32),
            "fat_deviation": people.fat_deviation.astype(np.float32),
            "water_share": people.water_share.astype(np.float32),
            "bone_share": people.bone_share.astype(np.float32),
            "is_athlete": people.is_athlete,
            "response": people.response.astype(np.float32),
            "readings": readings.astype(np.int16),
        }
    )


def analyser_truth(place: Place, analysers: Analysers, quarters: int) -> pl.DataFrame:
    n = len(analysers)
    shift_on = FIRST_DAY + analysers.shift_day.astype("timedelta64[D]")
    is_shifted = analysers.shift_day < quarter_day(quarters)
    return pl.DataFrame(
        {
            "site": [place.id] * n,
            "analyser": list(range(1, n + 1)),
            "name": list(analysers.names),
            "weight_bias_kg": analysers.weight_bias_kg,
            "weight_noise_kg": analysers.weight_noise_kg,
            "drift_kg_a_quarter": analysers.drift_kg_a_quarter,
            "shift_kg": analysers.shift_kg,
            "shift_on": pl.Series(shift_on).set(pl.Series(~is_shifted), None),
            "fat_bias_percent": analysers.fat_bias_percent,
            "fat_noise_percent": analysers.fat_noise_percent,
            "water_constant": pl.Series([analysers.water_constant] * n).fill_nan(None),
        }
    )


def sex_words(code: np.ndarray) -> pl.Series:
    return _words(code, ("male", "female"))


def _words(code: np.ndarray, words: tuple[str, ...]) -> pl.Series:
    return (
        pl.Series(code, dtype=pl.Int64).replace_strict(dict(enumerate(words)), return_dtype=pl.String)
        if len(code)
        else pl.Series([], dtype=pl.String)
    )
