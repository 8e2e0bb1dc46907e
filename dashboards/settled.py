"""A figure of a page with its choices made: what a report can show, and another page can quote."""

from __future__ import annotations

from dataclasses import replace

from dashboards.figures import Figure, keys_along
from dashboards.page import Page


def settled(page: Page, name: str, **state: str) -> Figure:
    """A page's figure with its choices made: by `state`, else as the page opens. It has no controls left.

    Errors   KeyError when the page has no such figure or the figure no such choice.
    """
    figure = next((figure for figure in page.figures if figure.id == name), None)
    if figure is None:
        raise KeyError(f"no figure {name} on {page.file}; it has {[f.id for f in page.figures]}")
    choice = {key: control.default for key, control in page.controls.items()} | state
    picked = {key: choice[key] for key in figure.picks}
    headline = figure.headline
    return replace(
        figure,
        picks=(),
        fixed={**figure.fixed, **picked},
        only={**figure.only, **{d: keys_along(figure, page.cubes[figure.cube], d, choice) for d in figure.chosen}},
        chosen={},
        order=None,
        headline=lambda _: headline(picked),
    )
