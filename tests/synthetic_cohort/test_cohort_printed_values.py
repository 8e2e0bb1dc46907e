"""What analysers print: the fields of a sound row agree at print resolution, and follow the truth."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from cohort_files import number

from pipeline.measures import UNITS
from synthetic_cohort.composition import basal_metabolic_rate


@pytest.fixture(scope="module")
def printed(sound) -> pl.DataFrame:
    """Every row of the sites with plain numbers, canonical units beside the printed ones, and the truth."""
    rows = []
    for (site, file, line), row in sound.rows.items():
        profile = sound.programme.profiles[site]
        if any(column.written_units for column in profile.columns.values()):
            continue
        found = {"site": site, "file": file, "line": line}
        for name, column in profile.columns.items():
            if column.unit:
                found[name] = number(row[name], profile)
        mass, length = (UNITS[profile.columns[name].unit] for name in ("weight", "height"))
        found["kg"] = found["weight"] * float(mass.factor)
        found["cm"] = found["height"] * float(length.factor)
        found["mass_step"] = float(mass.step)
        found["age_years"] = found["age"] // 12 if profile.columns["age"].unit == "mo" else found["age"]
        found["energy"] = (
            profile.columns["basal_metabolic_rate"].unit if "basal_metabolic_rate" in row else None
        )
        rows.append(found)
    truth = sound.table("readings").rename(
        {"age": "true_age", "height_cm": "true_cm", "weight_kg": "true_kg"}
    )
    return pl.DataFrame(rows, infer_schema_length=None).join(truth, on=["site", "file", "line"])


def _with(printed: pl.DataFrame, *names: str) -> pl.DataFrame:
    rows = printed.drop_nulls(list(names))
    assert rows.height > 500
    return rows


def test_fat_mass_and_fat_free_mass_add_up_to_the_weight(printed):
    rows = _with(printed, "fat_mass", "fat_free_mass")
    assert (rows["fat_mass"] + rows["fat_free_mass"] - rows["weight"]).abs().max() < 1e-9


def test_fat_mass_is_the_printed_percentage_of_the_printed_weight_rounded_to_its_step(printed):
    rows = _with(printed, "fat_mass")
    off = (rows["fat_mass"] - rows["weight"] * rows["body_fat_percent"] / 100).abs()
    assert (off <= rows["mass_step"] / 2 + 1e-9).all()
    assert off.max() > 0.01  # it was rounded


def test_muscle_and_bone_make_up_the_fat_free_mass(printed):
    rows = _with(printed, "muscle_mass", "bone_mineral_mass")
    assert (rows["muscle_mass"] + rows["bone_mineral_mass"] - rows["fat_free_mass"]).abs().max() < 1e-9


def test_water_percent_is_water_of_weight(printed):
    rows = _with(printed, "total_body_water", "total_body_water_percent")
    off = rows["total_body_water_percent"] - 100 * rows["total_body_water"] / rows["weight"]
    assert off.abs().max() <= 0.05 + 1e-9


def test_bmi_is_that_of_the_printed_weight_and_height(printed):
    rows = _with(printed, "bmi")
    assert (rows["bmi"] - rows["kg"] * 10_000 / rows["cm"] ** 2).abs().max() <= 0.05 + 1e-9


def test_basal_metabolic_rate_is_that_of_the_printed_row(printed):
    rows = _with(printed, "basal_metabolic_rate")
    kcal = rows["basal_metabolic_rate"] / np.where(rows["energy"] == "kJ/d", 4.184, 1.0)
    expected = basal_metabolic_rate(
        rows["kg"].to_numpy(),
        rows["cm"].to_numpy(),
        rows["age_years"].to_numpy(),
        (rows["sex"] == "female").to_numpy(),
    )
    assert np.abs(kcal.to_numpy() - expected).max() <= 0.5 + 0.5 / 4.184 + 1e-6


def test_adult_levels_are_printed_for_adults_only(printed):
    rows = printed.filter(pl.col("site").is_in(["north-quay", "weir-gardens"]))
    grown = rows.filter(pl.col("age_years") >= 18)
    young = rows.filter(pl.col("age_years") < 18)
    assert (
        young.height > 5
        and young["visceral_fat_level"].is_null().all()
        and young["metabolic_age"].is_null().all()
    )
    assert (
        grown["visceral_fat_level"].is_not_null().all()
        and grown["visceral_fat_level"].is_between(1, 59).all()
    )
    assert grown["metabolic_age"].is_between(12, 90).all()


def test_printed_age_and_sex_are_the_true_ones(printed):
    assert (printed["age_years"] == printed["true_age"]).all()
    in_months = printed.filter(pl.col("age") != pl.col("age_years"))
    assert (in_months["age"] == in_months["age_months"]).all() and in_months.height > 100


def test_printed_weight_is_the_true_one_but_for_clothing_and_the_analyser(printed, sound):
    analysers = sound.table("analysers")
    straight = analysers.filter((pl.col("drift_kg_a_quarter") == 0) & (pl.col("shift_kg") == 0))
    rows = printed.join(straight, on=["site", "analyser"])
    error = rows["kg"] - rows["true_kg"] - rows["weight_bias_kg"]
    assert abs(error.mean()) < 0.01  # clothing is taken off right on the average
    assert error.std() == pytest.approx(np.hypot(0.12, 0.07), rel=0.06)  # its guess, and the noise


def test_a_grown_person_has_one_height_at_a_site(printed):
    adults = printed.filter(pl.col("true_age") >= 21)
    heights = (
        adults.group_by("site", "person").agg(pl.col("height").n_unique(), pl.len()).filter(pl.col("len") > 1)
    )
    assert heights.height > 500 and (heights["height"] == 1).all()
    assert (adults["cm"] - adults["true_cm"]).abs().max() <= 1.0 + 0.64  # 1.0 at entry, half an inch step


def test_every_printed_value_can_be_a_reading_at_all(printed):
    assert printed["kg"].is_between(10, 300).all() and printed["cm"].is_between(80, 230).all()
    assert printed["age_years"].is_between(5, 99).all()
    assert printed["body_fat_percent"].drop_nulls().is_between(3, 70).all()


def test_stones_and_feet_are_written_with_their_units(sound):
    texts = [row for (site, _, _), row in sound.rows.items() if site == "net-loft"]
    truth = sound.table("readings").filter(pl.col("site") == "net-loft")
    assert len(texts) == truth.height > 50
    for row, true_kg, true_cm in zip(texts, truth["weight_kg"], truth["height_cm"], strict=True):
        stones, st, pounds, lb = row["weight"].split()
        feet, ft, inches, in_ = row["height"].split()
        assert (st, lb, ft, in_) == ("st", "lb", "ft", "in")
        assert 0 <= float(pounds) < 14 and 0 <= float(inches) < 12
        assert (int(stones) * 14 + float(pounds)) * 0.45359237 == pytest.approx(true_kg, abs=1.2)
        assert (int(feet) * 12 + float(inches)) * 2.54 == pytest.approx(true_cm, abs=1.7)
