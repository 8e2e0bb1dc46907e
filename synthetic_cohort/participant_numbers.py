"""The numbers that stand for people in a file: the programme's own, or a site's."""

from __future__ import annotations

import numpy as np
import polars as pl

_NUMBERS = 100_000_000  # a programme number is HD and eight digits
_STEP, _OFFSET = 48_271_369, 37_104_281  # _STEP has no factor 2 or 5: nobody shares a number
_FIRST_OF_A_SITE = 10_001


def participant_numbers(person: np.ndarray, scope: str, first_person: int) -> np.ndarray:
    """Person (over the programme) → the number that a site writes; `first_person` is the site's first.

    A programme number says nothing of when or where someone joined; a site's own numbers run from 10001 at every
    site, so that two people of two sites have the same one.
    """
    if scope == "programme":
        return (person * _STEP + _OFFSET) % _NUMBERS
    return _FIRST_OF_A_SITE + person - first_person


def as_written(number: np.ndarray, scope: str) -> pl.Series:
    """HD00000000 for a programme number, the plain number for a site's; -1 is missing."""
    series = pl.Series(number).set(pl.Series(number < 0), None)
    if scope == "programme":
        return "HD" + series.cast(pl.String).str.zfill(8)
    return series
