"""The methods that a release names for its figures, as one phrase a reader can take in."""

from __future__ import annotations

import re
from collections.abc import Iterable

from dashboards.catalogue import catalogue
from dashboards.wording import TEXT, say

NUMBER = re.compile(r"\d+(?:\.\d+)?")


def methods_named(methods: Iterable[str | None]) -> str:
    """Texts that differ in their numbers alone become one, with the range of the numbers that differ.

    ["…, 3 sites as clusters", "…, 24 sites as clusters"] → "…, 3 to 24 sites as clusters". Others follow in
    alphabetical order, each told to be of other rows.
    Missing  nulls and empty texts are no methods.
    """
    alike: dict[str, list[list[str]]] = {}
    for text in sorted({method for method in methods if method}):
        alike.setdefault(shape_of(text), []).append(NUMBER.findall(text))
    return TEXT["methods.elsewhere"].join(
        _with_ranges(catalogue().of_release(shape), numbers) for shape, numbers in alike.items()
    )


def shape_of(text: str) -> str:
    """A method with # for each number: what a catalogue translates."""
    return NUMBER.sub("#", text)


def _with_ranges(shape: str, numbers: list[list[str]]) -> str:
    ranges = iter(
        (low, high) if low != high else (low, "")
        for low, high in (
            (min(place, key=float), max(place, key=float)) for place in zip(*numbers, strict=True)
        )
    )
    parts = shape.split("#")
    words = parts[0]
    for part, (low, high) in zip(parts[1:], ranges, strict=True):
        words += (say("range", low=low, high=high) if high else low) + part
    return words
