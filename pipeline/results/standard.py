"""The standard population of the settings: one of those beside the code, or a CSV beside the settings."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import polars as pl

from pipeline.faults import SettingsFault, nearest
from pipeline.programme import Programme
from pipeline.results.prevalence import reported_bandings
from pipeline.statistics.standard_strata import group_weights, standardised_groups

PUBLISHED = {"who-world": "WHO2000_2025", "esp-2013": "ESP2013", "us-2000": "US2000"}
POPULATIONS = "standard_populations.csv"
BAND = r"^[0-9]{1,3}(-[0-9]{1,3}|\+)?$"


@dataclass(frozen=True)
class Standard:
    """name: as the settings have it; bands: columns standard, age_band, weight, of this standard alone;
    totals: the age totals of the settings to which it can be applied."""

    name: str
    bands: pl.DataFrame
    totals: tuple[tuple[int, int], ...]


def read_standard(programme: Programme) -> Standard:
    """The standard population that the settings ask for, known to fit the age groups of the settings.

    Missing  where nobody chose the standard, age totals whose groups would split one of its bands are left out.
    Errors   SettingsFault when there is no such standard, its file cannot be read, or the settings choose one whose
             bands would have to be split: how people are spread inside a band is not published.
    """
    name = programme.settings.bandings.standard_population
    if name in PUBLISHED:
        with (resources.files("pipeline.reference") / POPULATIONS).open("rb") as file:
            bands = pl.read_csv(file, schema_overrides={"age_band": pl.String, "weight": pl.Float64})
        bands = bands.filter(pl.col("standard") == PUBLISHED[name])
    elif name.lower().endswith(".csv"):
        bands = _own_bands(programme.folder / name, name)
    else:
        raise _fault(
            programme,
            found=f"{name}{nearest(name, PUBLISHED)}",
            expected=f"{', '.join(PUBLISHED)}, or the name of a CSV file beside the settings",
            next="correct the name",
        )
    return Standard(name, bands, _fitting_totals(programme, bands))


def _own_bands(path: Path, name: str) -> pl.DataFrame:
    """A file with the columns age_band (20-24, 95+) and weight, each age in one band."""
    expected = "a CSV file with the columns age_band, such as 20-24 or 95+, and weight, a number of 0 or more"
    try:
        rows = pl.read_csv(path, glob=False, infer_schema=False)
    except (OSError, pl.exceptions.PolarsError) as error:
        found = "no such file" if isinstance(error, FileNotFoundError) else str(error).splitlines()[0]
        raise _standard_fault(path, found=found, expected=expected) from error
    absent = [column for column in ("age_band", "weight") if column not in rows.columns]
    if absent:
        raise _standard_fault(path, found=f"no column {absent[0]}", expected=expected)
    bands = rows.select(
        standard=pl.lit(name),
        age_band=pl.col("age_band").str.strip_chars(),
        weight=pl.col("weight").str.strip_chars().cast(pl.Float64, strict=False),
    )
    is_right = pl.col("age_band").str.contains(BAND) & pl.col("weight").is_finite() & (pl.col("weight") >= 0)
    wrong = bands.with_row_index("line", offset=2).filter(~is_right.fill_null(False))
    if wrong.height:
        raise _standard_fault(path, found=f"line {wrong['line'][0]} as it is", expected=expected)
    return bands


def _fitting_totals(programme: Programme, bands: pl.DataFrame) -> tuple[tuple[int, int], ...]:
    settings = programme.settings
    is_chosen = "standard_population" in settings.bandings.model_fields_set
    misfits = set()
    for banding in reported_bandings(settings):
        for total, _ in standardised_groups(banding, settings.ages.groups, settings.ages.totals):
            groups = [g for g in sorted(settings.ages.groups) if total[0] <= g[0] and g[1] <= total[1]]
            try:
                group_weights(bands, groups)
            except ValueError as error:
                if is_chosen:
                    raise _does_not_fit(programme, total, error) from error
                misfits.add(total)
    return tuple(total for total in settings.ages.totals if total not in misfits)


def _does_not_fit(programme: Programme, total: tuple[int, int], error: ValueError) -> SettingsFault:
    return _fault(
        programme,
        found=f"{programme.settings.bandings.standard_population}: {error}",
        expected=f"bands that lie within the age groups of the settings from {total[0]} to {total[1]} years",
        next="under [ages] choose groups and totals that begin and end where its bands do, choose another standard "
        "population, or give a CSV file with finer bands",
    )


def _fault(programme: Programme, *, found: str, expected: str, next: str) -> SettingsFault:
    return SettingsFault(
        "standard population that cannot be used",
        where=f"{programme.path.name}, [bandings] standard_population",
        found=found,
        expected=expected,
        next=next,
    )


def _standard_fault(path: Path, *, found: str, expected: str) -> SettingsFault:
    return SettingsFault(
        "standard population that cannot be read",
        where=path.name,
        found=found,
        expected=expected,
        next="correct the file, or [bandings] standard_population in the settings",
    )
