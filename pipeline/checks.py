"""The declared list of checks: what each looks at, what it does with a reading, and why its limit stands where it does.

The SQL that applies them gives the same codes (tested): sql/11_reading_checked.sql for a row by itself,
sql/21_reading_set_aside.sql for a person's readings together. Three severities, three consequences:

    hold        the row is not accepted; it waits in ledger.held_row until the site sends it corrected
    set_aside   the reading is kept, but does not count; the person's other readings say so
    flag        the reading counts; the remark is reported, by site

Limits are the project's choice unless a source is named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from pipeline.measures import FIELDS, UNIT_WORDS

Severity = Literal["hold", "set_aside", "flag"]


@dataclass(frozen=True)
class Check:
    """One check. `field` is "" where the row as a whole, or a field named after a colon, is meant."""

    code: str
    title: str
    severity: Severity
    field: str
    expected: str
    explanation: str
    why: str


_ROW = (
    Check(
        "not_a_reading",
        "Not a reading",
        "hold",
        "",
        "a row with a participant, a date, sex, age, height and weight",
        "Three or more of the required fields are empty, or both date and sex: a total, a note, or a line cut off.",
        "A reading whose half is missing cannot be mended by its site; naming every empty field would hide that "
        "the line is of another kind.",
    ),
    Check(
        "row_cut_off",
        "Line cut off",
        "hold",
        "",
        "a value for each header of the file",
        "The line has fewer fields than the header, or a quote without its partner.",
        "Its cells may stand in each other's columns, so none of them is read.",
    ),
    Check(
        "too_many_fields",
        "Too many fields",
        "hold",
        "",
        "a value for each header of the file",
        "The line has more fields than the header.",
        "A separator inside a value shifts every column after it.",
    ),
    Check(
        "unreadable",
        "Unreadable value",
        "hold",
        "",
        "a value written as the site's profile says",
        "There is text in the field, and it is not a value of the kind, unit and format that the profile names.",
        "Text that is not understood may be a unit or a remark; to read it as missing would lose it in silence.",
    ),
    Check(
        "missing",
        "Required value missing",
        "hold",
        "",
        "a value: the field is required",
        "One of participant, date, sex, age, height, weight is empty.",
        "Without them a reading belongs to no person, period or group, or has no BMI.",
    ),
    Check(
        "measured_in_future",
        "Measured after the day of the run",
        "hold",
        "measured_on",
        "a day not after the day of the run",
        "The date lies after the date that the run is made for.",
        "Usually day and month exchanged or an analyser's clock; in its own period it would be found as late.",
    ),
    Check(
        "weight_height_exchanged",
        "Weight and height look exchanged",
        "hold",
        "height",
        "height and weight each in its own column",
        "The pair cannot be as it stands, and is ordinary when the two are exchanged (in the file's own units).",
        "One such row moves a mean BMI by whole units. Never exchanged silently: the site says which is right.",
    ),
    Check(
        "height_in_inches",
        "Height looks like inches",
        "hold",
        "height",
        "height in the unit of the profile",
        "The pair cannot be as it stands; read as inches the height is ordinary.",
        "A single row in another unit is a slip of the keyboard, not of the profile.",
    ),
    Check(
        "height_in_centimetres",
        "Height looks like centimetres",
        "hold",
        "height",
        "height in the unit of the profile",
        "The pair cannot be as it stands; read as centimetres where inches were expected it is ordinary.",
        "As for inches.",
    ),
    Check(
        "height_in_metres",
        "Height looks like metres",
        "hold",
        "height",
        "height in the unit of the profile",
        "The pair cannot be as it stands; read as metres the height is ordinary.",
        "As for inches.",
    ),
    Check(
        "weight_in_pounds",
        "Weight looks like pounds",
        "hold",
        "weight",
        "weight in the unit of the profile",
        "The pair cannot be as it stands, or the printed BMI denies it; read as pounds the weight fits.",
        "Pounds read as kilograms still give a possible weight: the printed BMI or the masses are the witnesses.",
    ),
    Check(
        "weight_in_kilograms",
        "Weight looks like kilograms",
        "hold",
        "weight",
        "weight in the unit of the profile",
        "The pair cannot be as it stands, or the printed BMI denies it; read as kilograms where pounds were "
        "expected the weight fits.",
        "As for pounds.",
    ),
    Check(
        "inches_and_pounds",
        "Height and weight look like inches and pounds",
        "hold",
        "height",
        "height and weight in the units of the profile",
        "The pair cannot be as it stands; read as inches and pounds both are ordinary.",
        "As for inches.",
    ),
    Check(
        "decimal_slip",
        "Decimal point slipped",
        "hold",
        "",
        "the decimal point where the analyser prints it",
        "The pair cannot be as it stands; with the decimal point one place on, it is ordinary.",
        "172.4 typed as 1724 or 17.24 is the commonest slip of a number copied by hand.",
    ),
    Check(
        "out_of_range",
        "Out of range",
        "hold",
        "",
        "a value that can be a reading",
        "The value lies outside what can be a reading at all.",
        "Bounds wide enough for every living person the programme may meet; they are not a norm.",
    ),
    Check(
        "weight_disagrees",
        "Weight disagrees with what was printed from it",
        "hold",
        "weight",
        "weight = fat mass + fat-free mass",
        "Fat mass and fat-free mass add up to another weight, and the printed BMI or body fat says that one too.",
        "Two printed figures against one; the weight was changed after the analyser printed.",
    ),
    Check(
        "bmi_disagrees",
        "Printed BMI disagrees with height and weight",
        "hold",
        "bmi",
        "weight / height² within print resolution",
        "The BMI on the printout is not that of the height and weight beside it.",
        "The analyser worked it out of what it was told: one of the three was changed later. The allowance is a "
        "whole print step of each, because some analysers cut off instead of rounding.",
    ),
    Check(
        "implausible_bmi",
        "Implausible BMI",
        "hold",
        "weight",
        "a BMI of 10 to 80; from 5 to 19 years a WHO z-score within ±5",
        "Height and weight are each possible, but not together.",
        "Adults: outside 10 to 80 errors outnumber people (project's choice). Children: WHO leaves z-scores "
        "outside ±5 out (from memory), here at mid-year of age, so a boundary case may differ by a tenth of BMI.",
    ),
    Check(
        "implausible_fat_free_mass",
        "Implausible fat-free mass for height",
        "hold",
        "weight",
        "a fat-free mass index of at most 22 (women), 27 (men), 20 and 24 (12 to 15 years) or 19 (under 12) kg/m² "
        "and 0.45 of the fat mass index",
        "BMI and printed body fat together mean more fat-free mass than a body of that height and fat carries, and "
        "neither a printed BMI nor the masses confirm the weight.",
        "Muscular men reach about 26 kg/m² with little fat, very heavy ones 33 with 27 of fat (project's choice). "
        "Weight in pounds more than doubles both, so this is a witness where a file has body fat and no BMI.",
    ),
    Check(
        "mass_balance",
        "Fat mass and fat-free mass do not add up to weight",
        "hold",
        "fat_mass",
        "weight = fat mass + fat-free mass, within print resolution",
        "The two parts do not make the whole.",
        "They are printed from one measurement; two steps of the masses and one of the weight are allowed.",
    ),
    Check(
        "fat_percent_disagrees",
        "Body fat disagrees with fat mass",
        "hold",
        "body_fat_percent",
        "fat mass / weight within print resolution",
        "The printed percentage is not fat mass over weight.",
        "As for mass balance; a unit slip or a shifted column shows here.",
    ),
    Check(
        "water_percent_disagrees",
        "Body water percentage disagrees with body water",
        "hold",
        "total_body_water_percent",
        "body water / weight within print resolution",
        "The printed percentage is not body water over weight.",
        "As for mass balance.",
    ),
    Check(
        "muscle_and_bone_over_fat_free_mass",
        "Muscle and bone exceed fat-free mass",
        "hold",
        "muscle_mass",
        "muscle + bone mineral at most fat-free mass",
        "A part is larger than the whole.",
        "Analysers differ in what they call muscle, so only an excess is a fault.",
    ),
    Check(
        "water_over_fat_free_mass",
        "Body water exceeds fat-free mass",
        "hold",
        "total_body_water",
        "body water at most fat-free mass",
        "A part is larger than the whole.",
        "Fat holds almost no water; columns exchanged show here.",
    ),
)

_PERSON = (
    Check(
        "sex_changes",
        "Sex differs from the person's other readings",
        "set_aside",
        "sex",
        "the sex of at least half of the person's other readings",
        "More than half of the person's other readings carry the other sex. Of two that differ both are set aside.",
        "The analyser's equations take sex: a wrong one shifts body fat by about ten points. It may also be right; "
        "the site can confirm it by sending the other readings corrected.",
    ),
    Check(
        "adult_height_changes",
        "Adult height differs from the person's other readings",
        "set_aside",
        "height",
        "within 3 cm of at least half of the person's other readings",
        "From 20 years on, height differs by more than 3 cm from more than half of the person's other readings.",
        "Time of day, shoes and rounding explain 1 to 2 cm, age less than 1 cm a year; 3 cm is 3.5 % of BMI.",
    ),
    Check(
        "child_height_changes",
        "Child's height falls or leaps",
        "set_aside",
        "height",
        "no fall of more than 2 cm, no rise of more than 2 cm and 12 cm a year",
        "Under 20 years, height falls or grows faster than a growth spurt against more than half of the others.",
        "Peak growth is 8 to 10 cm a year; 2 cm are left for measuring.",
    ),
    Check(
        "weight_jump",
        "Weight jumps",
        "set_aside",
        "weight",
        "a change of at most 10 % (under 20 years: 15 %) and 1 % a week, at most 45 %",
        "Weight differs from more than half of the person's other readings by more than anyone changes in the time "
        "between.",
        "Surgery and illness reach about 1 % a week; a day's swing stays under 5 %. More is another person's "
        "reading, or a typing error that no other field shows.",
    ),
)

_FLAG = (
    Check(
        "clothing_weight_not_set",
        "Clothing weight not set",
        "flag",
        "clothing_weight",
        "more than 0 kg",
        "The file carries a clothing weight, and here it is 0 or empty.",
        "The setting was probably forgotten: weight is then about 1 kg too high. Some sites weigh without clothes, "
        "so the reading counts.",
    ),
    Check(
        "clothing_weight_unusual",
        "Clothing weight unusual",
        "flag",
        "clothing_weight",
        "at most 3 kg",
        "More than 3 kg was taken off for clothing.",
        "Indoor clothing with shoes weighs 1 to 2 kg.",
    ),
    Check(
        "athlete_mode_not_supported",
        "Athlete mode not supported by the other answers",
        "flag",
        "athlete_mode",
        "more than 10 hours of cardio a week and a resting heart rate under 60",
        "Athlete mode was on, but training or resting heart rate do not support it.",
        "Common rule of use, no source. The mode lowers the printed body fat by several points.",
    ),
    Check(
        "athlete_mode_missing",
        "Athlete mode not used where it fits",
        "flag",
        "athlete_mode",
        "athlete mode from more than 10 hours of cardio a week and a resting heart rate under 60 on",
        "An adult trains more than 10 hours a week at a resting heart rate under 60, and athlete mode was off.",
        "Common rule of use, no source. The ordinary equations give such people too much fat.",
    ),
    Check(
        "athlete_mode_under_18",
        "Athlete mode under 18 years",
        "flag",
        "athlete_mode",
        "18 years or over",
        "Athlete mode was on for someone under 18.",
        "The athlete equations are of adults.",
    ),
    Check(
        "height_unusual_for_age",
        "Height unusual for age",
        "flag",
        "height",
        "at most a fifth below or above what is typical",
        "A possible height that few people of that age have.",
        "A fifth is five standard deviations of adults. Short and tall people count; the site may want to look.",
    ),
    Check(
        "bmr_far_from_equations",
        "Basal metabolic rate far from the equations",
        "flag",
        "basal_metabolic_rate",
        "0.7 to 1.4 times the range of the Schofield and Mifflin equations (under 18 years: Schofield)",
        "The printed rate is far from what published equations give for sex, age, height and weight.",
        "Makers use equations of their own; outside 0.7 to 1.4 a unit or a column is more likely.",
    ),
    Check(
        "water_in_fat_free_mass_unusual",
        "Water in fat-free mass unusual",
        "flag",
        "total_body_water",
        "0.65 to 0.80",
        "Body water over fat-free mass is far from the 0.73 of healthy adults.",
        "Wang et al., Am J Clin Nutr 1999;69:833-41 for 0.73; the bounds are the project's choice.",
    ),
)

CHECKS: dict[str, Check] = {check.code: check for check in (*_ROW, *_PERSON, *_FLAG)}


def check_named(code: str) -> Check:
    """The check of a code as it stands in the store: `missing:height` is the check `missing`, of height.

    Errors   KeyError for a code that is not declared, or a field that is not registered.
    """
    name, _, field_name = code.partition(":")
    check = CHECKS[name]
    if not field_name:
        return check
    field = FIELDS[field_name]
    expected = check.expected
    if name == "out_of_range":
        expected = (
            "a day from 1980-01-01 on"
            if field.low is None
            else f"{field.low:g} to {field.high:g} {_spoken(field.unit)}".strip()
        )
    return replace(
        check, code=code, title=f"{check.title}: {field.title.lower()}", field=field_name, expected=expected
    )


def _spoken(unit: str) -> str:
    """A UCUM code as people write it."""
    return unit if unit in ("", "kg", "cm", "%") else UNIT_WORDS[unit]
