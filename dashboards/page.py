"""A page: its file, its template, its figures and the choices they share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dashboards.cubes import Cube
from dashboards.figures import Control, Figure


@dataclass(frozen=True)
class Choice:
    """One of a row of sibling pages (a banding, a measure)."""

    title: str
    file: str
    is_current: bool


@dataclass(frozen=True)
class Page:
    """`section` is the page's place in the navigation; `more` what its own template needs besides."""

    file: str
    section: str
    title: str
    question: str
    template: str
    lead: str = ""
    cubes: Mapping[str, Cube] = field(default_factory=dict)
    controls: Mapping[str, Control] = field(default_factory=dict)
    figures: tuple[Figure, ...] = ()
    choices: tuple[Choice, ...] = ()
    choice_label: str = ""
    more: Mapping[str, Any] = field(default_factory=dict)


def sibling_pages(stem: str, titles: Mapping[str, str], current: str) -> tuple[Choice, ...]:
    """The pages of one question, one for each banding or measure; the first has the plain name."""
    return tuple(
        Choice(title, sibling_file(stem, titles, name), name == current) for name, title in titles.items()
    )


def sibling_file(stem: str, titles: Mapping[str, str], name: str) -> str:
    return f"{stem}.html" if name == next(iter(titles)) else f"{stem}-{name.replace('_', '-')}.html"
