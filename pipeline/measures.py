"""The registry: every field a site may send, every measure, every banding, with unit, resolution and source.

Checks, axis titles, the codebook and the settings' error messages are made from it; a fact stands here once.
Units are UCUM codes. `low` and `high` bound what can be a reading at all (outside: the row is held), they are
not a norm. Bounds are the project's choice unless a source is named; adults and children share them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

AGE_LOW, AGE_HIGH = 5, 99

# ---- units ------------------------------------------------------------------------------------------------
# Exact factors to the canonical unit of each dimension: international yard and pound agreement (1959),
# NIST SP 811 appendix B (citation from memory; the factors are exact by definition); 1 kcal(th) = 4.184 kJ.


@dataclass(frozen=True)
class Unit:
    code: str  # UCUM
    dimension: str
    factor: Fraction  # to the dimension's canonical unit
    step: Fraction  # the usual print resolution, in this unit


_INCH, _POUND = Fraction("2.54"), Fraction("0.45359237")
_TENTH, _ONE = Fraction(1, 10), Fraction(1)

# fmt: off
UNITS: dict[str, Unit] = {unit.code: unit for unit in (
    Unit("kg", "mass", Fraction(1), _TENTH),
    Unit("g", "mass", Fraction(1, 1000), Fraction(100)),
    Unit("[lb_av]", "mass", _POUND, Fraction(2, 10)),
    Unit("[stone_av]", "mass", 14 * _POUND, Fraction(1, 100)),
    Unit("cm", "length", Fraction(1), _TENTH),
    Unit("m", "length", Fraction(100), Fraction(1, 100)),
    Unit("mm", "length", _TENTH, _ONE),
    Unit("[in_i]", "length", _INCH, _TENTH),
    Unit("[ft_i]", "length", 12 * _INCH, Fraction(1, 100)),
    Unit("%", "share", Fraction(1), _TENTH),
    Unit("1", "share", Fraction(100), Fraction(1, 1000)),
    Unit("kcal/d", "power", Fraction(1), _ONE),
    Unit("kJ/d", "power", Fraction(1000, 4184), _ONE),
    Unit("MJ/d", "power", Fraction(1_000_000, 4184), Fraction(1, 100)),
    Unit("a", "age", Fraction(1), _ONE),
    Unit("mo", "age", Fraction(1, 12), _ONE),
    Unit("kg/m2", "kg/m2", Fraction(1), _TENTH),
    Unit("/min", "rate", Fraction(1), _ONE),
    Unit("h/wk", "load", Fraction(1), _TENTH),
    Unit("{level}", "level", Fraction(1), _ONE),
)}

# Everyday spellings a profile may use instead of the UCUM code.
EVERYDAY_UNITS: dict[str, str] = {
    "lb": "[lb_av]", "lbs": "[lb_av]", "pounds": "[lb_av]", "st": "[stone_av]", "stone": "[stone_av]",
    "in": "[in_i]", "inch": "[in_i]", "inches": "[in_i]", "ft": "[ft_i]", "feet": "[ft_i]",
    "kcal": "kcal/d", "kJ": "kJ/d", "MJ": "MJ/d", "percent": "%", "year": "a", "years": "a",
    "month": "mo", "months": "mo", "bpm": "/min", "kg/m²": "kg/m2", "h/week": "h/wk", "level": "{level}",
}
# fmt: on

# How a unit is spoken of, where its UCUM code says little to people.
UNIT_WORDS: dict[str, str] = {
    "kg": "kilograms",
    "g": "grams",
    "[lb_av]": "pounds",
    "[stone_av]": "stone",
    "cm": "centimetres",
    "m": "metres",
    "mm": "millimetres",
    "[in_i]": "inches",
    "[ft_i]": "feet",
    "%": "per cent",
    "1": "a whole of 1",
    "a": "years",
    "mo": "months",
    "kcal/d": "kilocalories a day",
    "kJ/d": "kilojoules a day",
    "MJ/d": "megajoules a day",
    "kg/m2": "kg/m²",
    "/min": "beats a minute",
    "h/wk": "hours a week",
    "{level}": "levels",
}


def unit_named(text: str) -> Unit | None:
    """The unit a profile's text means, or None."""
    return UNITS.get(EVERYDAY_UNITS.get(text, text))


# ---- fields: what a site's file may carry ------------------------------------------------------------------


@dataclass(frozen=True)
class Field:
    """One field of a site profile and the column of reading.accepted that it fills."""

    name: str
    title: str
    column: str
    kind: str  # identity, moment, sex, yes_no, text, number
    unit: str = ""  # canonical UCUM unit of a number
    low: float | None = None
    high: float | None = None
    is_required: bool = False

    @property
    def dimension(self) -> str:
        return UNITS[self.unit].dimension if self.unit else ""


# fmt: off
FIELDS: dict[str, Field] = {field.name: field for field in (
    Field("participant", "Participant", "participant", "identity", is_required=True),
    Field("measured_on", "Measured on", "measured_at", "moment", is_required=True),
    Field("sex", "Sex", "sex", "sex", is_required=True),
    Field("age", "Age", "age", "number", "a", AGE_LOW, AGE_HIGH, is_required=True),
    Field("height", "Height", "height_cm", "number", "cm", 80, 230, is_required=True),
    Field("weight", "Weight", "weight_kg", "number", "kg", 10, 300, is_required=True),
    Field("clothing_weight", "Clothing weight", "clothing_weight_kg", "number", "kg", 0, 10),
    Field("athlete_mode", "Athlete mode", "is_athlete_mode", "yes_no"),
    Field("device", "Analyser", "device", "text"),
    Field("body_fat_percent", "Body fat", "body_fat_percent", "number", "%", 1, 75),
    Field("fat_mass", "Fat mass", "fat_mass_kg", "number", "kg", 0.2, 200),
    Field("fat_free_mass", "Fat-free mass", "fat_free_mass_kg", "number", "kg", 8, 140),
    Field("muscle_mass", "Muscle mass", "muscle_mass_kg", "number", "kg", 5, 130),
    Field("total_body_water", "Total body water", "total_body_water_kg", "number", "kg", 5, 110),
    Field("total_body_water_percent", "Total body water", "total_body_water_percent", "number", "%", 20, 80),
    Field("bone_mineral_mass", "Bone mineral mass", "bone_mineral_mass_kg", "number", "kg", 0.3, 8),
    Field("basal_metabolic_rate", "Basal metabolic rate", "basal_metabolic_rate_kcal_d", "number", "kcal/d", 400, 5000),
    Field("metabolic_age", "Metabolic age", "metabolic_age_a", "number", "a", 5, 120),
    Field("visceral_fat_level", "Visceral fat level", "visceral_fat_level", "number", "{level}", 1, 59),
    Field("bmi", "Body mass index as printed", "bmi_printed_kg_m2", "number", "kg/m2", 7, 100),
    Field("resting_heart_rate", "Resting heart rate", "resting_heart_rate_per_min", "number", "/min", 25, 220),
    Field("cardio_hours_per_week", "Cardio per week", "cardio_hours_per_week", "number", "h/wk", 0, 60),
)}
# fmt: on


# ---- words that mean the same in any file ---------------------------------------------------------------------

# 1 and 2 are never read as a sex: the profile says which is which.
SEX_WORDS = {"female": "female", "f": "female", "male": "male", "m": "male"}
YES_NO_WORDS = {
    "yes": "yes",
    "y": "yes",
    "true": "yes",
    "1": "yes",
    "no": "no",
    "n": "no",
    "false": "no",
    "0": "no",
}
# What stands for nothing measured, where a profile does not say otherwise.
MISSING_MARKS = (
    "",
    "-",
    "--",
    "–",
    "—",
    ".",
    "NA",
    "N/A",
    "n/a",
    "na",
    "NaN",
    "nan",
    "null",
    "NULL",
    "None",
    "none",
)


# ---- measures: what is described, compared and published ----------------------------------------------------


@dataclass(frozen=True)
class Measure:
    """One measure of reading.participant_period.

    Values are tallied in whole steps of the print resolution, `round(value * steps_per_unit)`, half away
    from zero: a percentile is of the value at that resolution, for all sites and for each alike.
    """

    name: str
    title: str
    column: str
    unit: str
    steps_per_unit: int
    age_from: int = AGE_LOW
    age_to: int = AGE_HIGH
    source: str = "printed by the analyser"

    @property
    def decimals(self) -> int:
        return len(str(self.steps_per_unit)) - 1


_DERIVED = "derived from canonical values"
_HATTORI = (
    "Hattori, Tatsumi & Tanaka, Am J Hum Biol 1997;9:573-8; Schutz, Kyle & Pichard, Int J Obes 2002;26:953-60"
)

# fmt: off
MEASURES: dict[str, Measure] = {measure.name: measure for measure in (
    Measure("weight", "Weight", "weight_kg", "kg", 10),
    Measure("height", "Height", "height_cm", "cm", 10),
    Measure("bmi", "Body mass index", "bmi_kg_m2", "kg/m2", 10, source=f"{_DERIVED}: WHO TRS 894 (2000)"),
    Measure("bmi_z", "BMI-for-age z-score", "bmi_z", "1", 100, 5, 19,
            source="WHO Reference 2007: de Onis et al., Bull World Health Organ 2007;85:660-7"),
    Measure("body_fat_percent", "Body fat", "body_fat_percent", "%", 10),
    Measure("fat_mass", "Fat mass", "fat_mass_kg", "kg", 10),
    Measure("fat_free_mass", "Fat-free mass", "fat_free_mass_kg", "kg", 10),
    Measure("muscle_mass", "Muscle mass", "muscle_mass_kg", "kg", 10),
    Measure("total_body_water", "Total body water", "total_body_water_kg", "kg", 10),
    Measure("total_body_water_percent", "Total body water", "total_body_water_percent", "%", 10),
    Measure("water_in_fat_free_mass", "Water in fat-free mass", "water_in_fat_free_mass", "kg/kg", 1000,
            source="derived; about 0.73 in healthy adults: Wang et al., Am J Clin Nutr 1999;69:833-41"),
    Measure("bone_mineral_mass", "Bone mineral mass", "bone_mineral_mass_kg", "kg", 10),
    Measure("basal_metabolic_rate", "Basal metabolic rate", "basal_metabolic_rate_kcal_d", "kcal/d", 1),
    Measure("metabolic_age", "Metabolic age", "metabolic_age_a", "a", 1, 18, AGE_HIGH),
    Measure("visceral_fat_level", "Visceral fat level", "visceral_fat_level", "{level}", 1, 18, AGE_HIGH),
    Measure("fat_mass_index", "Fat mass index", "fat_mass_index_kg_m2", "kg/m2", 10, source=f"derived: {_HATTORI}"),
    Measure("fat_free_mass_index", "Fat-free mass index", "fat_free_mass_index_kg_m2", "kg/m2", 10,
            source=f"derived: {_HATTORI}"),
    Measure("muscle_mass_index", "Muscle mass index", "muscle_mass_index_kg_m2", "kg/m2", 10,
            source=f"{_DERIVED}: muscle mass / height²"),
)}
# fmt: on


# ---- bandings ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Band:
    name: str
    title: str
    rule: str  # in words and signs, for the codebook and the methods page


@dataclass(frozen=True)
class Banding:
    name: str
    title: str
    age_from: int
    age_to: int
    bands: tuple[Band, ...]
    source: str
    caution: str = ""


# fmt: off
BANDINGS: dict[str, Banding] = {banding.name: banding for banding in (
    Banding("bmi_adult", "BMI, adults", 20, AGE_HIGH, (
        Band("underweight", "Underweight", "BMI < 18.5"),
        Band("normal", "Normal", "18.5 ≤ BMI < 25"),
        Band("overweight", "Overweight", "25 ≤ BMI < 30"),
        Band("obesity_1", "Obesity class I", "30 ≤ BMI < 35"),
        Band("obesity_2", "Obesity class II", "35 ≤ BMI < 40"),
        Band("obesity_3", "Obesity class III", "40 ≤ BMI"),
    ), "WHO Technical Report Series 894 (2000)",
       "BMI does not tell fat from muscle; a band in a population is not a diagnosis of a person."),
    Banding("bmi_adult_asian", "BMI, adults, additional Asian action points", 20, AGE_HIGH, (
        Band("underweight", "Underweight", "BMI < 18.5"),
        Band("acceptable_risk", "Acceptable risk", "18.5 ≤ BMI < 23"),
        Band("increased_risk", "Increased risk", "23 ≤ BMI < 27.5"),
        Band("high_risk", "High risk", "27.5 ≤ BMI"),
    ), "WHO Expert Consultation, Lancet 2004;363:157-63",
       "Additional action points; the WHO cut-offs remain the international classification."),
    Banding("bmi_child", "BMI-for-age, 5 to 19 years", 5, 19, (
        Band("severe_thinness", "Severe thinness", "z < −3"),
        Band("thinness", "Thinness", "−3 ≤ z < −2"),
        Band("normal", "Normal", "−2 ≤ z ≤ +1"),
        Band("overweight", "Overweight", "+1 < z ≤ +2"),
        Band("obesity", "Obesity", "z > +2"),
    ), "WHO Reference 2007: de Onis et al., Bull World Health Organ 2007;85:660-7",
       "Ages in whole years are taken at mid-year (month 12·age + 6, at most month 228)."),
    Banding("hydration", "Body water as a share of weight", 18, AGE_HIGH, (
        Band("below", "Below the band", "women < 45 %, men < 50 %"),
        Band("within", "Within the band", "women 45 to 60 %, men 50 to 65 %, both ends within"),
        Band("above", "Above the band", "women > 60 %, men > 65 %"),
    ), "common practice, no source",
       "Water as a share of weight falls as fat rises: below the band is not by itself dehydration. "
       "Read it beside water in fat-free mass."),
    Banding("visceral_fat", "Visceral fat level", 18, AGE_HIGH, (
        Band("usual", "Usual", "levels 1 to 12"),
        Band("excess", "Excess", "levels 13 to 59"),
    ), "common practice, no source", "An analyser's own scale, estimated from impedance, not an image."),
    Banding("body_fat", "Body fat by sex and age", 20, 79, (
        Band("under", "Under", "women < 21, 23, 24 %; men < 8, 11, 13 % (ages 20–39, 40–59, 60–79)"),
        Band("healthy", "Healthy", "from there to under the next edge"),
        Band("over", "Over", "women from 33, 35, 36 %; men from 20, 22, 25 %"),
        Band("obese", "Obese", "women from 39, 40, 42 %; men from 25, 28, 30 %"),
    ), "Gallagher et al., Am J Clin Nutr 2000;72:694-701",
       "The authors call the ranges provisional; they rest on reference methods, not on impedance."),
    Banding("fat_lean", "Fat mass index by fat-free mass index", 18, AGE_HIGH, (
        Band("lower_fat_lower_lean", "Less fat, less fat-free mass", "FMI < median, FFMI < median"),
        Band("lower_fat_higher_lean", "Less fat, more fat-free mass", "FMI < median, FFMI ≥ median"),
        Band("higher_fat_lower_lean", "More fat, less fat-free mass", "FMI ≥ median, FFMI < median"),
        Band("higher_fat_higher_lean", "More fat, more fat-free mass", "FMI ≥ median, FFMI ≥ median"),
    ), "quadrants after Hattori, Tatsumi & Tanaka, Am J Hum Biol 1997;9:573-8 (from memory); medians at 18–34 "
       "years of Schutz, Kyle & Pichard, Int J Obes 2002;26:953-60: FFMI 18.9 men, 15.4 women; FMI 4.0, 5.5 kg/m²",
       "Quadrants about published medians of young adults, not about what is good for a person."),
)}
# fmt: on

PERCENTILES: tuple[int, ...] = (3, 5, 10, 25, 50, 75, 85, 90, 95, 97)

# Age groups of the published tables: the finest first, then the totals. Settings can change them.
AGE_GROUPS: tuple[tuple[int, int], ...] = (
    (5, 9),
    (10, 14),
    (15, 19),
    (20, 29),
    (30, 39),
    (40, 49),
    (50, 59),
    (60, 69),
    (70, 79),
    (80, 89),
    (90, 99),
)
AGE_TOTALS: tuple[tuple[int, int], ...] = ((5, 19), (20, 99), (5, 99))
