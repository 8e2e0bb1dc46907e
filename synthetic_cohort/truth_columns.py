"""What each table of the truth holds, a sentence a column; truth/README.md is made from it."""

from __future__ import annotations

from dataclasses import dataclass

from synthetic_cohort.faults import ROW_KINDS

NOTICE = "Everything in this folder is invented: no real person, place, analyser or programme."


@dataclass(frozen=True)
class Table:
    grain: str
    columns: dict[str, str]


_PLACE = {
    "site": "id of the site",
    "file": "name of the file in inbox/<site>/",
    "line": "as a text editor shows it (1 is the first); the sheet's row of a workbook; the row from 1 in Parquet",
}

TABLES: dict[str, Table] = {
    "readings": Table(
        "one row of a file, in the order of the files; in parts",
        {
            **_PLACE,
            "person": "number over the whole programme",
            "visit": "1 is the person's first",
            "is_repeat": "a second reading a few minutes after the first of the same visit",
            "measured_at": "the minute, also where the file gives only the day",
            "quarter": "of measured_at",
            "sex": "female or male",
            "age": "whole years",
            "age_months": "completed months",
            "height_cm": "true stature",
            "weight_kg": "true weight without clothes",
            "fat_mass_kg": "true fat mass",
            "programme_change_kg": "the part of the weight that is the programme's doing",
            "analyser": "1 is the site's first",
            "fault": "a kind of faults, empty for a sound row",
        },
    ),
    "faults": Table(
        "one fault of one row",
        {
            **_PLACE,
            "kind": "see below",
            "field": "the field that is wrong, empty where it is the row",
            "person": "as in readings; null for a totals row",
            "found": "what stands in the file, in the site's own unit; null for a participant or a moment",
            "true": "what should stand there",
            "other_file": "file of the row that it copies, or of the correction that came later",
            "other_line": "its line",
        },
    ),
    "people": Table(
        "one person",
        {
            "person": "as in readings",
            "home": "site where they joined",
            "participant": "the number as the home site writes it",
            "sex": "female or male",
            "age_months": "completed months at the first visit",
            "first_visit": "day",
            "height_cm": "true stature at the first visit",
            "height_z": "z-score on the height curve",
            "bmi_z": "z-score on the BMI curve",
            "fat_deviation": "percentage points of fat over what age, sex and BMI lead one to expect",
            "water_share": "water in fat-free mass, kg/kg",
            "bone_share": "bone mineral in fat-free mass, kg/kg",
            "is_athlete": "trains more than 10 hours a week at a resting heart rate under 60",
            "response": "true relative change of weight after four quarters in the programme",
            "readings": "how many readings they have, wherever taken; copies and corrections do not count",
        },
    ),
    "sites": Table(
        "one site",
        {
            "site": "id",
            "name": "name",
            "kind": "gym, clinic, school, workplace or community",
            "layout": "how its files are written",
            "profile": "its profile",
            "first_quarter": "of readings",
            "programme_quarter": "from which the programme can work",
            "mean_change": "true mean relative change of an adult's weight after four quarters, had nobody left",
            "return_log_odds": "log odds of coming again at no change of weight",
            "return_per_percent": "added to the log odds for each percent of weight lost",
            "readings": "readings taken here; copies and corrections do not count",
            "people": "people who joined here",
        },
    ),
    "analysers": Table(
        "one analyser",
        {
            "site": "id of the site",
            "analyser": "1 is the site's first",
            "name": "as files write it",
            "weight_bias_kg": "constant error of weight",
            "weight_noise_kg": "standard deviation from reading to reading",
            "drift_kg_a_quarter": "growth of the weight error from the site's first day",
            "shift_kg": "jump of the weight error",
            "shift_on": "the day of the jump; null for none",
            "fat_bias_percent": "constant error of body fat, percentage points",
            "fat_noise_percent": "standard deviation from reading to reading, percentage points",
            "water_constant": "set where water is printed as this constant times fat-free mass",
        },
    ),
    "files": Table(
        "one file of the inbox",
        {
            "site": "id of the site",
            "file": "name",
            "quarter": "of the file",
            "fault": "cut_off, totals, empty, header_only, sent_again or identifiers; empty for none",
            "expected": "accepted, held, refused or already_received",
            "reason": "why, in words",
            "rows": "lines below the header",
        },
    ),
}


_HEAD = "| column | meaning |\n| --- | --- |"


def readme() -> str:
    """truth/README.md."""
    parts = [
        "# The truth behind the demo",
        NOTICE,
        "The files under `inbox/` were made from these tables, and nothing of the pipeline reads them. "
        "Tests do, to score it.",
    ]
    for name, table in TABLES.items():
        file = "readings/part-*.parquet" if name == "readings" else f"{name}.parquet"
        rows = [f"| `{column}` | {meaning} |" for column, meaning in table.columns.items()]
        parts += [f"## `{file}`", f"A row is {table.grain}.", "\n".join([_HEAD, *rows])]
    kinds = ", ".join(f"`{kind}`" for kind in (*ROW_KINDS, "cut_off_line", "totals_row"))
    parts += ["## Kinds of fault", kinds + ".", _NOTES]
    return "\n\n".join(parts) + "\n"


_NOTES = """\
- `clothing_weight_forgotten`, `wrong_sex` and `wrong_athlete_mode` were made before the analyser printed, so its other
  fields follow from them. The others are slips of the pen in one field. Forgotten clothing leaves no trace in a file
  without that field; a wrong sex is made only for people with three readings or more.
- A `duplicated_row` is the copy, and `other_line` is the row it copies. A `corrected_row` is the wrong one, and
  `other_line` is its correction, further down or in the site's next file.
- A `cut_off_line` is the last of a file whose end is missing. A `totals_row` is no reading and not in `readings`.
- The rows of a file with identifiers stand in `readings`, and in no other file."""
