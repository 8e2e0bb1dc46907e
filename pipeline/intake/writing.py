"""How an unknown file writes its values: decimal sign, dates, codes of sex, missing marks. Found, or left open.

Nothing is settled by habit: 03/04/2025 alone does not say which is the day, and 1 and 2 never say which is female.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.intake.amounts import amount
from pipeline.intake.vocabulary import SEX_LETTERS, SEX_WORDS
from pipeline.measures import MISSING_MARKS
from pipeline.seal.header_words import words_of

_WITH_POINT = re.compile(r"[+-]?\d+\.\d+ ?%?")
_WITH_COMMA = re.compile(r"[+-]?\d+,\d+ ?%?")
_GROUPED_POINT = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d+")
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}(\.\d{3})+,\d+")
_NUMERIC = re.compile(r"[+-]?(\d[\d.,']*|[.,]\d+) ?%?")
_DATE = re.compile(
    r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})(?:([ T])(\d{1,2}):(\d{2})(:\d{2})?(?P<fraction>\.\d{1,9})?"
    r"(?: ?(?P<half>[AaPp][Mm]))?(?P<zone> ?(?:Z|[+-]\d{2}(?::?\d{2})?))?)?"
)
_NAMED_MONTH = re.compile(r"(\d{1,2})([ -])([A-Za-z]{3,9})\2(\d{4}|\d{2})(?: (\d{1,2}):(\d{2})(:\d{2})?)?")


@dataclass(frozen=True)
class Finding:
    """One thing found, or what stands against finding it."""

    setting: object = None  # the profile's value; None: leave it out
    reason: str = ""
    undecided: str = ""


def decimal_sign(columns: Sequence[Sequence[str]], *, is_typed: bool = False) -> Finding:
    """(decimal, thousands) from every cell of the sample.

    Where cells have types, numbers show with a point whatever the profile says; a comma in text then decides.
    """
    seen = _ways_of_decimals(columns)
    if seen["1.234,5"] and not seen["1,234.5"]:
        return Finding(
            (",", "."),
            f"decimal = comma, thousands = point: {_values_are(seen['1.234,5'])} written like 1.234,5",
        )
    if seen["1,234.5"] and not seen["1.234,5"]:
        return Finding(
            (".", ","),
            f"decimal = point, thousands = comma: {_values_are(seen['1,234.5'])} written like 1,234.5",
        )
    if is_typed:
        seen["point"] = 0 if seen["comma"] else seen["point"]
    three_decimals = seen["comma before three"] == seen["comma"]
    if seen["comma"] and seen["point"]:
        if three_decimals:
            return Finding(
                (".", ","),
                f"decimal = point in {amount(seen['point'], 'value')}; commas stand only before three digits, "
                "as a thousands sign does",
            )
        return Finding(
            undecided=f"decimal: values have a comma ({seen['comma']}) as well as a point ({seen['point']})"
        )
    if seen["comma"] and three_decimals:
        return Finding(
            undecided="decimal: every comma stands before three digits, so it may part thousands or decimals"
        )
    if seen["comma"]:
        return Finding(
            (",", ""), f"decimal = comma: it stands in {amount(seen['comma'], 'value')}, a point in none"
        )
    return Finding(
        (".", ""),
        f"decimal = point: it stands in {amount(seen['point'], 'value')}, a comma in none"
        if seen["point"]
        else "decimal = point: no value has decimals, so it does not matter yet",
    )


def _ways_of_decimals(columns: Sequence[Sequence[str]]) -> Counter[str]:
    """How many values are written in each way that tells a decimal sign; "comma before three" are among "comma"."""
    seen: Counter[str] = Counter()
    for value in (value.strip() for column in columns for value in column):
        if _GROUPED_POINT.fullmatch(value):
            seen["1,234.5"] += 1
        elif _GROUPED_COMMA.fullmatch(value):
            seen["1.234,5"] += 1
        elif _WITH_POINT.fullmatch(value):
            seen["point"] += 1
        elif _WITH_COMMA.fullmatch(value):
            seen["comma"] += 1
            seen["comma before three"] += len(value.rstrip(" %").split(",")[1]) == 3
    return seen


def is_date_like(values: Sequence[str]) -> bool:
    matching = sum(bool(_DATE.fullmatch(value) or _NAMED_MONTH.fullmatch(value)) for value in values)
    return bool(values) and matching >= 0.8 * len(values)


def date_format(values: Sequence[str]) -> Finding:
    """The strptime format of a column of dates; ISO 8601 needs none."""
    named = [match for value in values if (match := _NAMED_MONTH.fullmatch(value))]
    if len(named) > len(values) / 2:
        sign, month, year = named[0].group(2, 3, 4)
        form = sign.join(("%d", "%b" if len(month) == 3 else "%B", "%Y" if len(year) == 4 else "%y"))
        if named[0].group(5):
            form += " %H:%M:%S" if named[0].group(7) else " %H:%M"
        return Finding(form, f"written like {form}")
    matches = [match for value in values if (match := _DATE.fullmatch(value))]
    if not matches:
        return Finding(undecided="no value looks like a date")
    first = matches[0]
    sign = first.group(2)
    clock = _clock(first)
    if len(first.group(1)) == 4:
        is_zone_apart = (first["zone"] or "").startswith(" ")  # ISO 8601 has it beside the time
        if sign == "-" and not first["half"] and not is_zone_apart:
            return Finding(None, "written as ISO 8601, year first")
        return Finding(f"%Y{sign}%m{sign}%d{clock}", "the year stands first")
    year = "%Y" if len(first.group(4)) == 4 else "%y"
    day_first = sum(int(match.group(1)) > 12 for match in matches)
    month_first = sum(int(match.group(3)) > 12 for match in matches)
    if day_first and not month_first:
        return Finding(
            f"%d{sign}%m{sign}{year}{clock}",
            f"day first: in {amount(day_first, 'value')} the first number is over 12",
        )
    if month_first and not day_first:
        return Finding(
            f"%m{sign}%d{sign}{year}{clock}",
            f"month first: in {amount(month_first, 'value')} the second number is over 12",
        )
    why = (
        "some values can only be day first, others only month first"
        if day_first
        else "no number over 12 says which is the day"
    )
    return Finding(undecided=f"{why}: %d{sign}%m{sign}{year}{clock} or %m{sign}%d{sign}{year}{clock}")


def sex_codes(values: Sequence[str]) -> Finding:
    """The profile's codes where the words say it themselves."""
    words = sorted({value.strip() for value in values if value.strip()})
    plain = {word: " ".join(words_of(word)) for word in words}
    spoken = {word: SEX_WORDS[tidied] for word, tidied in plain.items() if tidied in SEX_WORDS}
    letters = {tidied for word, tidied in plain.items() if word not in spoken}
    if not words or len(words) > 12:
        return Finding(undecided=f"sex: {amount(len(words), 'different word')}")
    if not letters:
        return _codes(spoken)
    fitting = [meaning for meaning in SEX_LETTERS if letters <= set(meaning)]
    if len(fitting) == 1 or (letters == {"m"} and spoken) or letters in ({"f"}, {"m", "f"}):
        return _codes(
            spoken | {word: fitting[0][tidied] for word, tidied in plain.items() if word not in spoken}
        )
    shown = (
        ", ".join(words) if all(len(word) <= 2 for word in words) else amount(len(words), "different word")
    )
    return Finding(undecided=f"sex: by themselves the codes {shown} do not say which is female")


def unusual_missing_marks(columns: Sequence[Sequence[str]]) -> list[str]:
    """Words that stand several times in columns of numbers and are no missing mark yet."""
    found: Counter[str] = Counter()
    for column in columns:
        filled = [value.strip() for value in column if value.strip()]
        numeric = sum(bool(_NUMERIC.fullmatch(value)) for value in filled)
        if numeric > 0.7 * len(filled):
            found.update(
                value
                for value in filled
                if not _NUMERIC.fullmatch(value)
                and value not in MISSING_MARKS
                and len(value) <= 12
                and not any(character.isdigit() for character in value)
            )
    return sorted(mark for mark, count in found.items() if count >= 2)


def _values_are(n: int) -> str:
    return f"{amount(n, 'value')} {'is' if n == 1 else 'are'}"


def _codes(codes: Mapping[str, str]) -> Finding:
    folded = {word.lower(): meaning for word, meaning in codes.items()}
    if set(folded) <= {"f", "m", "female", "male"}:
        return Finding(None, "the words are read as they stand")
    return Finding(folded, "the words say it themselves")


def _clock(match: re.Match[str]) -> str:
    if not match.group(5):
        return ""
    seconds = ":%S" if match.group(8) else ""
    seconds += ".%f" if match["fraction"] else ""
    zone = "" if not match["zone"] else " %z" if match["zone"].startswith(" ") else "%z"
    clock = f"%I:%M{seconds} %p" if match["half"] else f"%H:%M{seconds}"
    return f"{match.group(5)}{clock}{zone}"
