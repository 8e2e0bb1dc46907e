"""The pages of a release, as far as they could show what no table does.

A page carries its charts' and tooltips' data as one block of JSON: cubes, each a grid of cells along named dimensions,
a letter a cell (w: withheld) and figures in whole steps. And it carries text: tables, sentences, and what screen
readers are told. Both are read:

    cells   a cell marked withheld must carry no figure, and a number of people that a cell does carry must stand in a
            table, in a row with the same site, period, sex, ages and band
    text    a row of a table, a sentence or an attribute that names one withheld count, by its labels and by what the
            page is set to show, must not contain its number, nor its share

The number of a withheld count is looked for, so the truth is needed here; nothing of it is printed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import product
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.measures import BANDINGS

WITHHELD = "w"
PEOPLE = ("n", "people")  # columns of a cube that count people
SHARES = ("share",)
PROSE = ("p", "li", "h1", "h2", "h3", "h4", "figcaption", "caption", "summary", "dd", "dt")
AXES = ("band", "site", "period", "sex", "age")
# ranges of ages or limits, quarters, years and months; then whole numbers, and shares in per cent
_NOT_A_COUNT = re.compile(r"\d+\s*[–-]\s*\d+|\bQ[1-4]\b|\b(?:19|20)\d\d(?:-\d\d|Q\d)?\b")
_NUMBER = re.compile(r"(?<![\d.])\d+(?!\.?\d)(?!\s*%)")
_SHARE = re.compile(r"(?<![\d.])\d+\.\d(?!\d)")
Key = tuple[str, ...]  # banding, band ('' for the group), site, period, sex, age


@dataclass(frozen=True)
class PageBreach:
    """Where a page shows what it should not. key: the axes of the cell; figure: which of its figures."""

    file: str
    what: str
    key: dict[str, str]
    figure: str


@dataclass
class Page:
    """One page: its data, and its text in units: (what it is, the figure it stands in, the words)."""

    file: str
    data: dict[str, Any] | None
    texts: list[tuple[str, str, str]] = field(default_factory=list)


class _Reader(HTMLParser):
    """Collects the data block, rows of tables, sentences and attributes of one page."""

    UNITS = (
        "tr",
        "p",
        "li",
        "h1",
        "h2",
        "h3",
        "h4",
        "figcaption",
        "caption",
        "summary",
        "text",
        "title",
        "dd",
        "dt",
    )
    ATTRIBUTES = ("title", "aria-label", "aria-description", "alt", "data-tooltip", "data-value", "value")

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.data, self.texts = "", []
        self._is_data, self._is_code, self._figures, self._units = False, False, [], []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attributes}
        if tag == "script":
            self._is_data = given.get("type") == "application/json"
            self._is_code = True
        if tag == "section":
            self._figures.append(given.get("id", ""))
        if tag in self.UNITS:
            self._units.append((tag, []))
        figure = self._figures[-1] if self._figures else ""
        self.texts += [(name, figure, given[name]) for name in self.ATTRIBUTES if given.get(name)]
        if tag not in ("td", "th", "script"):
            return
        for _, words in self._units:
            words.append("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "script":
            self._is_data = self._is_code = False
        if tag == "section" and self._figures:
            self._figures.pop()
        if self._units and self._units[-1][0] == tag:
            name, words = self._units.pop()
            self.texts.append((name, self._figures[-1] if self._figures else "", "".join(words)))

    def handle_data(self, data: str) -> None:
        if self._is_data:
            self.data += data
        elif not self._is_code:
            for _, words in self._units:
                words.append(data)


def read_page(path: Path) -> Page:
    reader = _Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    reader.close()
    return Page(path.name, json.loads(reader.data) if reader.data.strip() else None, reader.texts)


def page_breaches(
    folder: Path, truth: dict[str, pl.DataFrame], published: dict[str, pl.DataFrame]
) -> list[PageBreach]:
    """Everything that the pages of a folder show and its tables do not.

    Shapes   truth, published: table → rows, as of audit_tables.
    """
    counts = Counts.of(truth, published)
    found: list[PageBreach] = []
    for path in sorted(folder.rglob("*.html")):
        page = read_page(path)
        if page.data is not None and "cubes" in page.data:
            for name, cube in page.data["cubes"].items():
                found += _in_cells(page, name, cube, counts)
            found += _in_texts(page, counts)
    return found


@dataclass(frozen=True)
class Counts:
    """Counts of people by (banding or measure, band, site, period, sex, ages).

    shown    the numbers that tables show, for each set of known axes asked about so far.
    hidden   key → its true number, and the number it is out of, of every count that no table shows.
    """

    rows: pl.DataFrame
    hidden: dict[Key, tuple[int, int]]
    shown: dict[tuple[str, ...], set[tuple]] = field(default_factory=dict)

    @staticmethod
    def of(truth: dict[str, pl.DataFrame], published: dict[str, pl.DataFrame]) -> Counts:
        shown = pl.concat([_counts(name, rows) for name, rows in published.items()]).drop_nulls("n").unique()
        bands = truth.get("prevalence")
        hidden: dict[Key, tuple[int, int]] = {}
        if bands is not None:
            key = ["family", "band", "site", "period", "sex", "age"]
            true = _counts("prevalence", bands)
            whole = bands.select(pl.col("denominator").alias("whole"))
            true = pl.concat([true, pl.concat([whole] * 2)], how="horizontal")
            left = true.join(shown.filter(table="prevalence"), on=key, how="anti")
            hidden = {row[:6]: (row[6], row[7]) for row in left.select(*key, "n", "whole").iter_rows()}
        return Counts(shown, hidden)

    def among_shown(self, axes: tuple[str, ...]) -> set[tuple]:
        """(values of these axes, number) of every shown count."""
        if axes not in self.shown:
            self.shown[axes] = set(self.rows.select(*axes, "n").unique().iter_rows())
        return self.shown[axes]


def _counts(table: str, rows: pl.DataFrame) -> pl.DataFrame:
    """The counts of one table: table, family, band, site, period, sex, age, n; '' for an axis that it lacks."""
    family = next((name for name in ("banding", "measure", "topic", "item") if name in rows.columns), None)
    columns = [name for name in ("n", "denominator") if name in rows.columns]

    def axis(name: str | None) -> pl.Expr:
        return pl.col(name).cast(pl.String).fill_null("") if name in rows.columns else pl.lit("")

    age = pl.format("{}-{}", "age_from", "age_to") if "age_from" in rows.columns else pl.lit("")
    parts = [
        rows.select(
            table=pl.lit(table),
            family=axis(family),
            band=axis("band") if column == "n" else pl.lit(""),
            site=axis("site"),
            period=axis("period"),
            sex=axis("sex"),
            age=age,
            n=pl.col(column).cast(pl.Int64),
        )
        for column in columns
    ]
    schema = dict.fromkeys(("table", "family", "band", "site", "period", "sex", "age"), pl.String)
    return pl.concat(parts) if parts else pl.DataFrame(schema={**schema, "n": pl.Int64})


def _in_cells(page: Page, name: str, cube: dict[str, Any], counts: Counts) -> Iterator[PageBreach]:
    dimensions = {dimension["name"]: dimension["keys"] for dimension in cube["dimensions"]}
    axes = tuple(axis for axis in AXES if axis in dimensions)
    banding = _banding(dimensions.get("band", []))
    known = ("family", *axes) if banding else axes
    people = [column for column in cube["columns"] if column in PEOPLE]
    columns = list(cube["columns"].items())
    for at, keys in enumerate(product(*dimensions.values())):
        here = dict(zip(dimensions, keys, strict=True))
        if cube["states"][at] == WITHHELD:
            for column, values in columns:
                if values[at] is not None:
                    yield PageBreach(page.file, f"chart data {name}", here, column)
            continue
        for column in people:
            value = cube["columns"][column][at]
            if value is None or cube["decimals"][column]:
                continue
            at_axes = tuple(here[axis] for axis in axes)
            wanted = (banding, *at_axes) if banding else at_axes
            if column != "n" and "band" in axes:
                wanted = tuple("" if axis == "band" else key for axis, key in zip(known, wanted, strict=True))
            if axes and (*wanted, value) not in counts.among_shown(known):
                yield PageBreach(page.file, f"chart data {name}", here, column)


def _banding(bands: list[str]) -> str:
    """The banding with exactly these bands, or ''."""
    return next((name for name, it in BANDINGS.items() if {b.name for b in it.bands} == set(bands)), "")


def _in_texts(page: Page, counts: Counts) -> Iterator[PageBreach]:
    """Texts that name one withheld count and contain its number or its share.

    What the page is set to show speaks for rows and for the sentence above a figure, and only where the figure follows
    those controls. Other sentences are read by their own labels alone: a note on method has numbers of sites and of
    periods in it, and such a number is not a count of people because it happens to equal one.
    """
    figures = {figure["id"]: figure for figure in page.data["figures"]}
    default = {control["name"]: control["default"] for control in page.data["controls"]}
    sentences = [
        ("sentence", figure, text, dict(zip(figure["picks"], picks.split("|"), strict=False)))
        for figure in figures.values()
        for picks, text in figure.get("headlines", {}).items()
    ]
    units = [(what, figures.get(name), text, {}) for what, name, text in page.texts]
    for what, figure, text, picks in [*units, *sentences]:
        if figure is None or not any(sign.isdigit() for sign in text):
            continue
        shown = {name: default[name] for name in figure["picks"] if name in default}
        at = {**shown, **figure["fixed"], **picks}
        if what in PROSE and text.strip() not in figure.get("headlines", {}).values():
            at.pop("band", None)
        yield from _in_text(page, what, text, page.data["cubes"][figure["cube"]], at, counts)


def _in_text(
    page: Page, what: str, text: str, cube: dict[str, Any], at: dict[str, str], counts: Counts
) -> Iterator[PageBreach]:
    dimensions = {dimension["name"]: dimension for dimension in cube["dimensions"]}
    banding = _banding(dimensions.get("band", {}).get("keys", []))
    if not banding:
        return
    here, rest = dict(at), text
    for name, dimension in dimensions.items():
        labels = sorted(
            zip(dimension["labels"], dimension["keys"], strict=True), key=lambda one: -len(one[0])
        )
        for label, key in labels:
            if label and label in rest:
                here[name], rest = key, rest.replace(label, " ")
                break
    if not here.get("band"):
        return
    site = here.get("site", "") or (page.file[5:-5] if page.file.startswith("site-") else "")
    key = (banding, here["band"], site, here.get("period", ""), here.get("sex", "all"), here.get("age", ""))
    hidden = counts.hidden.get(key)
    if hidden is None:
        return
    n, whole = hidden
    rest = _plain(_NOT_A_COUNT.sub(" ", rest), page.data.get("locale", {}))
    numbers = set(_NUMBER.findall(rest))
    shares = set(_SHARE.findall(rest))
    share = f"{100 * n / whole:.1f}" if whole else ""
    if n and (str(n) in numbers or share in shares):
        named = dict(zip(("banding", "band", "site", "period", "sex", "age"), key, strict=True))
        yield PageBreach(page.file, f"text ({what})", named, "number" if str(n) in numbers else "share")


def _plain(text: str, marks: dict[str, str]) -> str:
    """Numbers without marks of thousands, and with a decimal point."""
    thousands, decimal = marks.get("thousands", "\u202f"), marks.get("decimal", ".")
    if thousands:
        text = re.sub(rf"(?<=\d){re.escape(thousands)}(?=\d{{3}})", "", text)
    return re.sub(rf"(?<=\d){re.escape(decimal)}(?=\d)", ".", text)
