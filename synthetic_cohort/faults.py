"""The mistakes of real rows: how often each kind happens, to which rows it can happen, and what it does.

Three kinds are made before the analyser prints, because the composition follows from them (`spoil_entry`);
the others are slips of the pen, so that only the field itself is wrong (`spoil_rows`, `repeat_rows`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_cohort.layouts import Layout
from synthetic_cohort.printout import CM_A_UNIT, CM_AN_INCH, KG_A_POUND, Entry, half_up
from synthetic_cohort.rows import Rows

# Index 0 means no fault; the file faults that mark one row come last.
ROW_KINDS = (
    "weight_height_swapped",
    "height_inches_in_cm",
    "weight_pounds_in_kg",
    "clothing_weight_forgotten",
    "wrong_sex",
    "wrong_athlete_mode",
    "duplicated_row",
    "corrected_row",
    "impossible_value",
    "missing_required",
    "decimal_slip",
)
KINDS = ("", *ROW_KINDS, "cut_off_line", "totals_row")


@dataclass(frozen=True)
class FaultRates:
    """Shares of rows, and numbers of files in the programme. All are the project's choice."""

    weight_height_swapped: float = 0.002
    height_inches_in_cm: float = 0.002
    weight_pounds_in_kg: float = 0.002
    clothing_weight_forgotten: float = 0.004
    wrong_sex: float = 0.003
    wrong_athlete_mode: float = 0.004
    duplicated_row: float = 0.004
    corrected_row: float = 0.003
    impossible_value: float = 0.002
    missing_required: float = 0.003
    decimal_slip: float = 0.002
    cut_off_files: int = 3
    totals_rows: int = 4
    empty_files: int = 1
    header_only_files: int = 1
    files_sent_again: int = 2
    files_with_identifiers: int = 1

    def __post_init__(self) -> None:
        shares = [getattr(self, kind) for kind in ROW_KINDS]
        if min(shares) < 0 or sum(shares) > 1:
            raise ValueError(
                f"row faults add up to {sum(shares):g} of the rows; expected shares of at least 0 "
                "that add up to at most 1, because a row has one fault"
            )


NO_FAULTS = FaultRates(*(0,) * 17)

# Fields a fault can name, in the order of Rows.field.
FIELDS = (
    "participant",
    "measured_on",
    "sex",
    "age",
    "height",
    "weight",
    "clothing_weight",
    "athlete_mode",
    "body_fat_percent",
    "fat_mass",
    "fat_free_mass",
    "total_body_water",
    "bmi",
)
_COLUMN = {"measured_on": "minute", "athlete_mode": "athlete"}  # where the field's name and the row's differ
FORGOTTEN_KG, FORGOTTEN_SD = 1.0, 0.15
CARRIED_SHARE = 0.25  # of copies and corrections that come with the next file


def kind_index(kind: str) -> int:
    return KINDS.index(kind)


def choose_faults(
    rng: np.random.Generator,
    rates: FaultRates,
    layout: Layout,
    is_adult: np.ndarray,
    readings_of_person: np.ndarray,
    is_spared: np.ndarray,
) -> np.ndarray:
    """Which fault each row gets, at most one: an index into KINDS, 0 for none.

    Shapes   all arrays (rows,). A kind that cannot happen to a row leaves it without fault, so a kind's rate is a
             share of the rows it can happen to.
    """
    n = len(is_adult)
    everybody = np.ones(n, dtype=bool)
    plain = everybody & (not layout.written_units)
    has_mode_evidence = {"athlete_mode", "resting_heart_rate", "cardio_hours_per_week"} <= set(layout.headers)
    possible = {
        "weight_height_swapped": plain,
        "height_inches_in_cm": plain & (layout.height_unit == "cm"),
        "weight_pounds_in_kg": plain & (layout.mass_unit == "kg"),
        "wrong_sex": readings_of_person >= 3,  # the other rows must outvote it
        "wrong_athlete_mode": is_adult & has_mode_evidence,
        "decimal_slip": plain,
    }
    lots = rng.random(n)
    chosen, low = np.zeros(n, dtype=np.int8), 0.0
    for kind in ROW_KINDS:
        high = low + getattr(rates, kind)
        can = possible.get(kind, everybody) & ~is_spared
        chosen[(lots >= low) & (lots < high) & can] = kind_index(kind)
        low = high
    return chosen


def spoil_entry(rng: np.random.Generator, fault: np.ndarray, entry: Entry) -> None:
    """Mistakes of the operator at the analyser, before it prints; changes `entry`."""
    forgot = fault == kind_index("clothing_weight_forgotten")
    entry.clothing_kg = np.where(forgot, 0.0, entry.clothing_kg)
    entry.worn_kg = np.where(forgot, rng.normal(FORGOTTEN_KG, FORGOTTEN_SD, len(fault)), entry.worn_kg)
    entry.is_female = entry.is_female ^ (fault == kind_index("wrong_sex"))
    entry.is_athlete = entry.is_athlete ^ (fault == kind_index("wrong_athlete_mode"))


def spoil_rows(rng: np.random.Generator, rows: Rows, layout: Layout) -> None:
    """Slips between the print-out and the file, and a note in every faulty row of what was found and true."""
    _note_entry_mistakes(rows)
    values = rows.values
    swapped = np.flatnonzero(rows.fault == kind_index("weight_height_swapped"))
    weight, height = values["weight"][swapped], values["height"][swapped]
    values["height"][swapped] = weight
    _write(rows, swapped, "weight", height)

    inches = np.flatnonzero(rows.fault == kind_index("height_inches_in_cm"))
    _write(rows, inches, "height", half_up(values["height"][inches] / CM_AN_INCH))
    pounds = np.flatnonzero(rows.fault == kind_index("weight_pounds_in_kg"))
    _write(rows, pounds, "weight", half_up(values["weight"][pounds] / KG_A_POUND * 5) / 5)
    slipped = np.flatnonzero(rows.fault == kind_index("decimal_slip"))
    _write(rows, slipped, "weight", half_up(values["weight"][slipped] * 10))

    for kind, choices in (("impossible_value", _measured(layout)), ("missing_required", FIELDS[:6])):
        hit = np.flatnonzero(rows.fault == kind_index(kind))
        which = rng.integers(0, len(choices), len(hit))
        nonsense = rng.choice([0.0, 9999.0], len(hit))
        for i, name in enumerate(choices):
            at = hit[which == i]
            numeric = values[_COLUMN.get(name, name)].dtype.kind == "f"
            gone = np.nan if numeric else -1
            _write(rows, at, name, nonsense[which == i] if kind == "impossible_value" else gone)


def _measured(layout: Layout) -> list[str]:
    choices = ("age", "height", "weight", "body_fat_percent", "fat_mass", "total_body_water")
    return [name for name in choices if name in layout.headers]


def _write(rows: Rows, at: np.ndarray, name: str, value) -> None:
    """Put a wrong value into a field and note what stood there."""
    column = rows.values[_COLUMN.get(name, name)]
    rows.true[at] = column[at]
    column[at] = value
    rows.found[at] = column[at]
    rows.field[at] = FIELDS.index(name)


def _note_entry_mistakes(rows: Rows) -> None:
    for kind, name, column in (
        ("wrong_sex", "sex", "sex"),
        ("wrong_athlete_mode", "athlete_mode", "athlete"),
    ):
        at = np.flatnonzero(rows.fault == kind_index(kind))
        rows.field[at], rows.found[at] = FIELDS.index(name), rows.values[column][at]
        rows.true[at] = 1 - rows.values[column][at]
    at = np.flatnonzero(rows.fault == kind_index("clothing_weight_forgotten"))
    rows.field[at], rows.found[at], rows.true[at] = FIELDS.index("clothing_weight"), 0.0, FORGOTTEN_KG


def repeat_rows(
    rng: np.random.Generator, rows: Rows, layout: Layout, *, first_link: int, has_next_file: bool
) -> tuple[Rows, Rows]:
    """Rows that stand twice: exact copies, and wrong rows with their correction further down or in the next file.

    Returns  (this file's rows with some added, the rows to carry into the next file); keys say the places. The
             file's last row is never part of a pair, so that a file may be cut there.
    """
    last = len(rows) - 1
    pairs = [
        np.flatnonzero(rows.fault[:last] == kind_index(kind)) if last > 0 else np.zeros(0, dtype=np.int64)
        for kind in ("duplicated_row", "corrected_row")
    ]
    if last >= 0 and rows.fault[last] in (kind_index("duplicated_row"), kind_index("corrected_row")):
        rows.fault[last] = 0
    copied, corrected = pairs
    first = np.concatenate([copied, corrected])
    rows.link[first] = first_link + np.arange(len(first))
    second = rows.take(first)
    second.fault[len(copied) :] = 0  # of two equal rows the copy is the fault
    rows.fault[copied] = 0  # of a row and its correction, the first
    _mistype(rng, rows, corrected, layout)
    second.key = first + (last - first) * rng.uniform(0.001, 0.999, len(first))
    is_carried = (rng.random(len(first)) < CARRIED_SHARE) & has_next_file
    return rows.followed_by(second.take(np.flatnonzero(~is_carried))), second.take(np.flatnonzero(is_carried))


def _mistype(rng: np.random.Generator, rows: Rows, at: np.ndarray, layout: Layout) -> None:
    """One value of a row that will be corrected: weight off by 3 to 12 of its unit, or height by 3 to 9 cm."""
    is_weight = rng.random(len(at)) < 0.5
    sign = np.where(rng.random(len(at)) < 0.5, -1, 1)
    weight_at, height_at = at[is_weight], at[~is_weight]
    weight = rows.values["weight"][weight_at]
    up = np.where(weight < 40, 1, sign[is_weight])
    _write(rows, weight_at, "weight", np.round(weight + up * rng.integers(3, 13, len(weight_at)), 1))
    step = {"cm": 1.0, "m": 0.01, "[in_i]": 0.5}[layout.height_unit]
    by = (
        sign[~is_weight]
        * half_up(rng.integers(3, 10, len(height_at)) / CM_A_UNIT[layout.height_unit] / step)
        * step
    )
    _write(rows, height_at, "height", np.round(rows.values["height"][height_at] + by, 2))
