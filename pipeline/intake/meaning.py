"""What the columns of an unknown file mean: which header is which field, and in which unit. With a reason each.

A header's words decide; a unit in the header decides over everything; the sample's medians decide a unit that the
header leaves open, and only where one unit alone gives figures that people have.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from pipeline import measures
from pipeline.intake.vocabulary import FIELD_PHRASES, UNIT_WORDS
from pipeline.seal.header_words import words_of

# Medians that a group of people can have, in canonical units: wide, and still no two units of a dimension overlap.
_TYPICAL_MEDIAN = {
    "height": (110, 200),
    "weight": (20, 120),
    "basal_metabolic_rate": (900, 2600),
    "body_fat_percent": (8, 50),
    "total_body_water_percent": (35, 70),
}
_IN_WEIGHTS_UNIT = (
    "clothing_weight",
    "fat_mass",
    "fat_free_mass",
    "muscle_mass",
    "total_body_water",
    "bone_mineral_mass",
)
_ADULT_BMI = (19, 34)  # medians of a group
_OTHER_DIMENSION = {
    "fat_mass": "body_fat_percent",
    "body_fat_percent": "fat_mass",
    "total_body_water": "total_body_water_percent",
    "total_body_water_percent": "total_body_water",
}


@dataclass
class Meaning:
    """A column that was recognised."""

    field: str
    place: int
    header: str
    unit: str | None = None  # UCUM; None for the canonical unit or none
    reason: str = ""
    undecided: str = ""


def meanings(names: Sequence[str], columns: Sequence[Sequence[str]], decimal: str) -> list[Meaning]:
    """The fields that the headers name, in the registry's order, each with its unit."""
    found = _fields(names)
    numbers = {meaning.field: _numbers(columns[meaning.place], decimal) for meaning in found.values()}
    _decide_fat_and_water(found, numbers)
    numbers = {meaning.field: _numbers(columns[meaning.place], decimal) for meaning in found.values()}
    for field in measures.FIELDS.values():
        if field.name in found and field.kind == "number":
            _decide_unit(found, field.name, numbers)
    return [found[name] for name in measures.FIELDS if name in found]


def _fields(names: Sequence[str]) -> dict[str, Meaning]:
    """field → its header; of two headers for one field the one that says it in fewer words."""
    candidates: list[tuple[int, int, str, Meaning]] = []
    for place, header in enumerate(names):
        unit = _unit_in(header)
        words = _words_without_unit(header)
        for field, phrases in FIELD_PHRASES.items():
            score = max((_score(words, phrase.split()) for phrase in phrases), default=0)
            if score and unit and measures.UNITS[unit].dimension != measures.FIELDS[field].dimension:
                field = _OTHER_DIMENSION.get(field, "")  # "Fat kg" is a mass, "Fat %" a share
            if score and field:
                candidates.append((-score, place, field, Meaning(field, place, header.strip(), unit)))
    found: dict[str, Meaning] = {}
    taken: set[int] = set()
    for _, place, field, meaning in sorted(candidates, key=lambda one: one[:3]):
        if field not in found and place not in taken:
            found[field] = meaning
            taken.add(place)
            meaning.reason = f"the header {meaning.header} names it"
    return found


def _score(words: Sequence[str], phrase: Sequence[str]) -> int:
    """How well a header's words match a phrase: equal beats contained, a longer phrase beats a shorter one."""
    if list(words) == list(phrase):
        return 100 + len(phrase)
    inside = any(
        list(words[n : n + len(phrase)]) == list(phrase) for n in range(len(words) - len(phrase) + 1)
    )
    return (
        10 * len(phrase) - len(words)
        if inside and len("".join(phrase)) > 2 and len(words) <= len(phrase) + 2
        else 0
    )


def _decide_fat_and_water(found: dict[str, Meaning], numbers: Mapping[str, list[float]]) -> None:
    """A bare "fat" or "water" is a share or a mass: by its unit, else by the relation to weight."""
    for name, other in _OTHER_DIMENSION.items():
        meaning = found.get(name)
        if meaning is None or other in found:
            continue
        if meaning.unit is not None:
            if measures.UNITS[meaning.unit].dimension != measures.FIELDS[name].dimension:
                _rename(found, name, other)
        elif _is_bare(meaning.header) and not _settled_by_relation(found, name, other, numbers):
            meaning.undecided = f"{meaning.header}: a share (%) or a mass; nothing in the file tells"


def _is_bare(header: str) -> bool:
    words = set(_words_without_unit(header))
    return not words & {
        "percent",
        "percentage",
        "pct",
        "mass",
        "masse",
        "massa",
        "masa",
        "level",
        "anteil",
    } and not any(word.endswith(("anteil", "masse", "massa", "percentage")) for word in words)


def _settled_by_relation(
    found: dict[str, Meaning], name: str, other: str, numbers: Mapping[str, list[float]]
) -> bool:
    """Fat: against weight less fat-free mass. Water: against 0.73 of fat-free mass, as in healthy adults."""
    if not {"weight", "fat_free_mass"} <= found.keys():
        return False
    weight, lean = median(numbers["weight"] or [0]), median(numbers["fat_free_mass"] or [0])
    value = median(numbers[name] or [0])
    if not weight or not lean or not value:
        return False
    part = weight - lean if "fat" in name else 0.73 * lean
    as_mass, as_share = abs(value - part) / part, abs(value - 100 * part / weight) / (100 * part / weight)
    if min(as_mass, as_share) > 0.1 or abs(as_mass - as_share) < 0.1:
        return False
    is_share = as_share < as_mass
    meaning = found[name]
    meaning.reason += f"; its median {value:g} fits {'a share of weight' if is_share else 'a mass'}"
    if is_share != (measures.FIELDS[name].dimension == "share"):
        _rename(found, name, other)
    return True


def _rename(found: dict[str, Meaning], name: str, other: str) -> None:
    meaning = found.pop(name)
    meaning.field = other
    found[other] = meaning


def _decide_unit(found: Mapping[str, Meaning], name: str, numbers: Mapping[str, list[float]]) -> None:
    meaning, values = found[name], numbers[name]
    field = measures.FIELDS[name]
    if meaning.undecided:
        return
    if meaning.unit is not None:
        if measures.UNITS[meaning.unit].dimension == field.dimension:
            meaning.reason += f"; the unit {meaning.unit} stands in it"
            return
        meaning.unit = None
    if name in _IN_WEIGHTS_UNIT and "weight" in found:
        meaning.unit = found["weight"].unit
        meaning.reason += f"; taken to be in the unit of weight ({meaning.unit or 'kg'})"
        return
    if name == "age":
        _decide_years_or_months(meaning, values)
        return
    if name not in _TYPICAL_MEDIAN:
        return
    if not values:
        meaning.undecided = f"{name}: no number to tell its unit from"
        return
    middle = median(values)
    fitting = [
        unit
        for unit in measures.UNITS.values()
        if unit.dimension == field.dimension and _fits(name, middle * float(unit.factor), found, numbers)
    ]
    if len(fitting) == 1:
        meaning.unit = fitting[0].code
        meaning.reason += f"; its median {middle:g} is that of people only in {meaning.unit}"
    else:
        shown = ", ".join(unit.code for unit in fitting) or "none"
        meaning.undecided = f"{name}: its median {middle:g} fits these units: {shown}"


def _decide_years_or_months(meaning: Meaning, values: list[float]) -> None:
    """Months under 60 and years over 110 are nobody's here: all between the two may be either."""
    if not values or min(values) < 12 * measures.AGE_LOW:
        meaning.reason += "; ages in years, since some are under 60" if values else ""
    elif max(values) > 110:
        meaning.unit = "mo"
        meaning.reason += "; ages in months, since some are over 110 and none is under 60"
    else:
        meaning.undecided = f"age: from {min(values):g} to {max(values):g} may be years (a) or months (mo)"


def _fits(
    name: str, canonical: float, found: Mapping[str, Meaning], numbers: Mapping[str, list[float]]
) -> bool:
    low, high = _TYPICAL_MEDIAN[name]
    if not low <= canonical <= high:
        return False
    height = found.get("height")
    if name != "weight" or height is None or height.undecided or not numbers["height"]:
        return True
    factor = float(measures.UNITS[height.unit or "cm"].factor)
    metres = median(numbers["height"]) * factor / 100
    return metres < 1.5 or _ADULT_BMI[0] <= canonical / metres**2 <= _ADULT_BMI[1]


def _unit_in(header: str) -> str | None:
    """The UCUM unit that a header names: in brackets, behind an underscore, or as its last word."""
    if "%" in header:
        return "%"
    bracketed = re.findall(r"[(\[]([^)\]]+)[)\]]", header)
    for text in bracketed:
        unit = UNIT_WORDS.get(text.strip().lower()) or measures.UNITS.get(text.strip(), None)
        if unit:
            return unit if isinstance(unit, str) else unit.code
    words = words_of(header)
    return UNIT_WORDS.get(words[-1]) if len(words) > 1 or words in (["cm"], ["kg"], ["lb"]) else None


def _words_without_unit(header: str) -> list[str]:
    words = words_of(re.sub(r"[(\[][^)\]]*[)\]]", " ", header).replace("%", " percent "))
    if len(words) > 1 and words[-1] in UNIT_WORDS and words[-1] not in ("percent", "percentage", "pct"):
        words = words[:-1]
    return words or words_of(header)


def _numbers(values: Sequence[str], decimal: str) -> list[float]:
    found = []
    for value in values:
        text = value.strip().rstrip("% ")
        if decimal == ",":
            text = text.replace(".", "").replace(",", ".")
        if re.fullmatch(r"[+-]?\d+(\.\d+)?", text):
            found.append(float(text))
    return found
