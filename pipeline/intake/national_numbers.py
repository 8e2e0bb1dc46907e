"""National, insurance and bank-account numbers, told by their check digits.

Any nine digits can be somebody's member number. A column is one of national numbers when nearly all of its different
values pass one and the same country's check. Of arbitrary digits about one in ten does, so that eight in ten of eight
or more different values do not by chance. Forms without a check digit count only as they are written by hand, with
their hyphens, blanks or letters. python-stdnum knows the rules.
"""

from __future__ import annotations

import importlib
import itertools
import math
import re
from collections.abc import Callable, Sequence
from functools import cache

_FEWEST_VALUES = 8  # different ones
_MOST_VALUES = 400  # different ones: eight in ten and one in ten are told apart by far fewer
_NEARLY_ALL = 0.8  # the rest may be typing slips and words such as "none"

# Each module's own is_valid decides. A form without a check digit is taken only in the writing beside it.
_CHECKED = (
    "at.vnr", "be.nn", "bg.egn", "br.cpf", "ca.sin", "ch.ssn", "cz.rc", "de.idnr", "ee.ik", "es.dni", "es.nie",
    "fi.hetu", "fr.nir", "gb.nhs", "hr.oib", "iban", "ie.pps", "it.codicefiscale", "lt.asmens", "mx.curp", "nl.bsn",
    "no.fodselsnummer", "pl.pesel", "pt.cc", "ro.cnp", "se.personnummer", "si.emso", "tr.tckimlik", "za.idnr",
)  # fmt: skip
_WRITTEN = {"us.ssn": re.compile(r"\d{3}-\d{2}-\d{4}"), "dk.cpr": re.compile(r"\d{6}-\d{4}")}
# UK national insurance number: two letters, six digits, a letter from A to D (form from memory; it has no check digit)
_NINO = re.compile(r"[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z] ?\d{2} ?\d{2} ?\d{2} ?[A-D]", re.IGNORECASE)
_COULD_BE = re.compile(r"(?=(?:.*\d){6})[0-9A-Za-z ./-]{8,34}")


def are_national_numbers(values: Sequence[str]) -> bool:
    """Do nearly all of the different values pass the check of one country?"""
    different = list(dict.fromkeys(values))
    different = different[:: -(-len(different) // _MOST_VALUES) or 1]
    if len(different) < _FEWEST_VALUES:
        return False
    possible = [value for value in different if _COULD_BE.fullmatch(value)]
    most_wrong = len(possible) - math.ceil(_NEARLY_ALL * len(different))
    return most_wrong >= 0 and any(_fails_at_most(most_wrong, is_valid, possible) for is_valid in _checks())


def _fails_at_most(most: int, is_valid: Callable[[str], bool], values: Sequence[str]) -> bool:
    """Given up as soon as it is too many: most columns are none, and there are thirty checks."""
    wrong = (value for value in values if not is_valid(value))
    return next(itertools.islice(wrong, most, None), None) is None


@cache
def _checks() -> tuple[Callable[[str], bool], ...]:
    def checked(name: str) -> Callable[[str], bool]:
        return importlib.import_module(f"stdnum.{name}").is_valid

    def as_written(name: str, form: re.Pattern[str]) -> Callable[[str], bool]:
        is_valid = checked(name)
        return lambda value: form.fullmatch(value) is not None and is_valid(value)

    return (
        lambda value: _NINO.fullmatch(value) is not None,
        *(as_written(name, form) for name, form in _WRITTEN.items()),
        *map(checked, _CHECKED),
    )
