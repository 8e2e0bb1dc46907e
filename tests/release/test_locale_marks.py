"""How numbers and days are written: against the Unicode CLDR 48 as babel carries it, and ISO 80000-1.

Days in words: CLDR long date formats, read in babel 2.18. The decimal sign of German, French and British English:
CLDR, latn numbering.
"""

from __future__ import annotations

from datetime import date

import pytest

from pipeline.faults import SettingsFault
from pipeline.programme import Programme
from pipeline.release.locale_marks import locale_marks


@pytest.mark.parametrize(("name", "decimal", "day"), [
    ("en-GB", ".", "5 January 2026"), ("de-DE", ",", "5. Januar 2026"), ("fr", ",", "5 janvier 2026"),
])  # fmt: skip
def test_marks_are_those_of_the_language_and_thousands_are_thin_everywhere(name, decimal, day):
    marks = locale_marks(name, date(2026, 1, 5))
    assert (marks["decimal"], marks["as_of"]) == (decimal, day)
    assert marks["thousands"] == "\u202f"


@pytest.mark.parametrize("name", ["xx-YY", "english", ""])
def test_a_locale_that_nobody_knows_is_refused_in_the_settings(tmp_path, name):
    (tmp_path / "programme.toml").write_text(
        f'name = "P"\nlocale = "{name}"\n[[site]]\nid = "a"\nname = "A"\nprofile = "a.toml"\n'
    )
    with pytest.raises(SettingsFault, match="en-GB"):
        Programme.read(tmp_path / "programme.toml")
