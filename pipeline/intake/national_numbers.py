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
from collections import Counter
from collections.abc import Callable, Sequence
from functools import cache

_FEWEST_VALUES = 8  # different ones
_MOST_VALUES = 400  # different ones: eight in ten and one in ten are told apart by far fewer
_NEARLY_ALL = 0.8  # the rest may be typing slips and words such as "none"

# Each module's own is_valid decides. Beside it, how many letters and digits a number that it passes can have: where
# most values have others it need not be asked. A form without a check digit is taken only in the writing beside it.
_ANY = tuple(range(1, 35))
CHECKED = {
    "at.vnr": (10,), "be.nn": (11,), "bg.egn": (10,), "br.cpf": (11,), "ca.sin": (9,), "ch.ssn": (13,),
    "cz.rc": (9, 10), "de.idnr": (11,), "ee.ik": (11,), "es.dni": (9,), "es.nie": (9,), "fi.hetu": (10, 11),
    "fr.nir": (15,), "gb.nhs": (10,), "hr.oib": (11, 13), "iban": tuple(range(15, 35)), "ie.pps": (8, 9),
    "it.codicefiscale": (11, 16), "lt.asmens": (11,), "mx.curp": (18,), "nl.bsn": tuple(range(1, 10)),
    "no.fodselsnummer": (11,), "pl.pesel": (11,), "pt.cc": _ANY, "ro.cnp": (13,), "se.personnummer": (10, 12),
    "si.emso": (13,), "tr.tckimlik": (11,), "za.idnr": (13,),
}  # fmt: skip
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
    needed = math.ceil(_NEARLY_ALL * len(different))
    of_length = Counter(sum(map(str.isalnum, value)) for value in possible)
    return len(possible) >= needed and any(
        sum(of_length[n] for n in lengths) >= needed and _fails_at_most(len(possible) - needed, is_valid, possible)
        for is_valid, lengths in _checks()
    )


def _fails_at_most(most: int, is_valid: Callable[[str], bool], values: Sequence[str]) -> bool:
    """Given up as soon as it is too many: most columns are none, and there are thirty checks."""
    wrong = (value for value in values if not is_valid(value))
    return next(itertools.islice(wrong, most, None), None) is None


@cache
def _checks() -> tuple[tuple[Callable[[str], bool], Sequence[int]], ...]:
    def checked(name: str) -> Callable[[str], bool]:
        return importlib.import_module(f"stdnum.{name}").is_valid

    def as_written(name: str, form: re.Pattern[str]) -> Callable[[str], bool]:
        is_valid = checked(name)
        return lambda value: form.fullmatch(value) is not None and is_valid(value)

    return (
        (lambda value: _NINO.fullmatch(value) is not None, _ANY),
        *((as_written(name, form), _ANY) for name, form in _WRITTEN.items()),
        *((checked(name), lengths) for name, lengths in CHECKED.items()),
    )
