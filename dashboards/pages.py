"""A release folder → its pages: the one ordered list of what is made, and the writing of it."""

from __future__ import annotations

import gc
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import Any

import orjson
from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from dashboards import bundle
from dashboards.catalogue import speaking
from dashboards.cubes import UNRELIABLE
from dashboards.data_quality import data_quality_pages
from dashboards.figures import page_json, table_rows
from dashboards.methods import methods_pages
from dashboards.numbers import count, writing_as
from dashboards.outcomes import outcome_pages
from dashboards.overview import overview_pages
from dashboards.page import Page
from dashboards.percentiles import percentile_pages
from dashboards.prevalence import prevalence_pages
from dashboards.release import Release, read_release
from dashboards.report import report_pages, write_document
from dashboards.sites import site_pages
from dashboards.stamp import stamp
from dashboards.wording import TEXT, say, say_of
from dashboards.workbook import write_workbook

SECTIONS: tuple[tuple[str, Callable[[Release], Iterator[Page]]], ...] = (
    ("index", overview_pages),
    ("prevalence", prevalence_pages),
    ("percentiles", percentile_pages),
    ("sites", site_pages),
    ("outcomes", outcome_pages),
    ("data-quality", data_quality_pages),
    ("report", report_pages),
    ("methods", methods_pages),
)
ASSETS = ("page.css", "cells.js", "charts.js", "page.js")


def build_pages(release_folder: Path, *, assets: Path | None = None) -> list[Path]:
    """Write every page and asset of a release into its folder; returns the paths, assets first.

    The same release gives the same bytes. Reads release.json and data/*.parquet only. `assets`: a folder of assets
    that this very program and its libraries have written before, to be copied instead of made.
    Errors   ReleaseUnreadable when the folder is not a complete release.
    """
    release = read_release(release_folder)
    with speaking(release.catalogue), writing_as(release.facts["written"]), _nothing_collected():
        return _build(release, assets)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Without Python's search for unreachable cycles: it would walk half a million cells of the workbook again and
    again, a twelfth of the time that pages take, and find nothing. What falls out of use is freed all the same."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _build(release: Release, assets: Path | None) -> list[Path]:
    release_folder = release.folder
    written = [*_write_assets(release_folder / "assets", assets), write_workbook(release)]
    templates = _templates()
    sections = [name for name, _ in SECTIONS if _is_there(release, name)]
    for _, pages in SECTIONS:
        for page in pages(release):
            path = release_folder / page.file
            path.write_bytes(_rendered(templates, release, page, sections).encode())
            written.append(path)
            if page.section == "report":
                written.append(write_document(release, page))
    return written


def _is_there(release: Release, section: str) -> bool:
    needs = {
        "prevalence": "prevalence",
        "sites": "prevalence",
        "report": "prevalence",
        "percentiles": "percentile",
        "outcomes": "outcome",
        "data-quality": "data_quality",
    }
    return section not in needs or release.has(needs[section])


def _write_assets(folder: Path, written_before: Path | None) -> list[Path]:
    if written_before is not None:
        shutil.copytree(written_before, folder, copy_function=shutil.copyfile)
    else:
        folder.mkdir()
        for name in ASSETS:
            text = (resources.files("dashboards") / "assets" / name).read_text(encoding="utf-8")
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        (folder / bundle.NAME).write_text(bundle.vega_bundle(), encoding="utf-8", newline="\n")
    return [folder / name for name in (*ASSETS, bundle.NAME)]


def _templates() -> Environment:
    folder = resources.files("dashboards") / "templates"
    return Environment(
        loader=FunctionLoader(lambda name: (folder / name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _rendered(templates: Environment, release: Release, page: Page, sections: list[str]) -> str:
    state = {name: control.default for name, control in page.controls.items()}
    withheld = TEXT["withheld"]
    views = {}
    for figure in page.figures:
        rows = table_rows(figure, page.cubes[figure.cube], state)
        states, texts = {row["state"] for row in rows}, {text for row in rows for text in row["cells"]}
        views[figure.id] = {
            "figure": figure,
            "headline": figure.headline({name: state[name] for name in figure.picks}),
            "heads": [TEXT[f"column.{name}"] for name in figure.along],
            "rows": rows,
            "show": say_of("figures.show", len(rows), rows=count(len(rows))),
            "has_withheld": any(withheld in text for text in texts),
            "has_unreliable": UNRELIABLE in states,
        }
    facts = release.facts
    return templates.get_template(page.template).render(
        page=page,
        views=views,
        text=TEXT,
        say=say,
        programme=facts["programme"],
        language=release.catalogue.language,
        navigation=[(f"{name}.html", TEXT[f"nav.{name}"], name == page.section) for name in sections],
        stamp=stamp(release),
        data=json_block(page_json(page.cubes, page.controls, list(page.figures))) if page.figures else "",
        **page.more,
    )


def json_block(value: Any) -> Markup:
    """Compact JSON that no browser can take for the end of its script element. Figures are whole steps (cubes.py): what
    is no number is missing there already."""
    text = orjson.dumps(value, option=orjson.OPT_SORT_KEYS).decode()
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
