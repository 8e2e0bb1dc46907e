"""Options that several commands share, and what may be written for them.

A function of a text returns its value, or raises ArgumentTypeError with what was found and what is expected.
"""

from __future__ import annotations

import argparse
import math
from datetime import date
from pathlib import Path

from pipeline.faults import printable


def add_programme(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "programme", type=Path, metavar="PROGRAMME.toml", help="the programme's settings, or their folder"
    )


def add_as_of(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        type=day,
        metavar="DATE",
        help="run as on this day, 2026-01-15: the same inputs and day give the same bytes",
    )


def language(text: str) -> str:
    from babel import Locale, UnknownLocaleError

    try:
        return str(Locale.parse(text, sep="-")).replace("_", "-")
    except (ValueError, UnknownLocaleError) as error:
        raise argparse.ArgumentTypeError(
            f"found {printable(text)}; expected a language such as cy, de or pt-BR"
        ) from error


def day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(
            f"found {printable(text)}; expected a day such as 2026-01-15"
        ) from error


def count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"found {printable(text)}; expected a whole number from 1")
    return int(text)


def finite(text: str) -> float:
    return _number(text, "a number such as 27.4", math.isfinite)


def place_in_percent(text: str) -> float:
    return _number(text, "a number between 0 and 100, such as 90", lambda number: 0 < number < 100)


def ages(text: str) -> tuple[int, int]:
    low, _, high = text.partition("-")
    if not (low.isdecimal() and high.isdecimal()) or int(low) > int(high):
        raise argparse.ArgumentTypeError(f"found {printable(text)}; expected ages such as 20-29")
    return int(low), int(high)


def _number(text: str, expected: str, is_allowed) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not is_allowed(number):
        raise argparse.ArgumentTypeError(f"found {printable(text)}; expected {expected}")
    return number
