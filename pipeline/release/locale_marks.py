"""How the language and country of the settings write numbers and days, from the Unicode CLDR as babel carries it."""

from __future__ import annotations

from datetime import date

from babel import Locale
from babel.dates import format_date
from babel.numbers import get_decimal_symbol

# The same everywhere, as ISO 80000-1 recommends: a point or comma between thousands is the decimal sign elsewhere.
THOUSANDS = "\u202f"


def locale_marks(name: str, as_of: date) -> dict[str, str]:
    """The marks that pages write with, and the day of the release in words.

    Shapes   name: a locale such as en, en-GB, de-CH; out: locale, decimal, thousands, as_of.
    Errors   ValueError or babel.UnknownLocaleError for a locale that CLDR does not know.
    """
    locale = Locale.parse(name, sep="-")
    return {
        "locale": name,
        "decimal": get_decimal_symbol(locale, numbering_system="latn"),
        "thousands": THOUSANDS,
        "as_of": format_date(as_of, "long", locale=locale),
    }
