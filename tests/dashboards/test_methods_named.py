"""How methods are put into a phrase: mechanics."""

from __future__ import annotations

import pytest

from dashboards.methods_named import methods_named


@pytest.mark.parametrize(("methods", "phrase"), [
    (["Wilson, 95 %"], "Wilson, 95 %"),
    (["exact, 24 sites", "exact, 3 sites", "exact, 9 sites"], "exact, 3 to 24 sites"),
    (["95 % interval, 3 sites", "95 % interval, 12 sites"], "95 % interval, 3 to 12 sites"),
    (["one site", "Wilson", None, ""], "Wilson. In other rows: one site"),
    ([None], ""),
])  # fmt: skip
def test_methods_that_differ_in_numbers_alone_become_one(methods, phrase):
    assert methods_named(methods) == phrase
