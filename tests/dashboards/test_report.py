"""The report on a period: the page, the PDF and the figures they share. Mechanics, over the invented release."""

from __future__ import annotations

import json
import re
import time
from io import BytesIO

import pytest
from pypdf import PdfReader

from dashboards.cubes import WITHHELD
from dashboards.numbers import period_title, writing_as
from dashboards.prevalence import prevalence_pages
from dashboards.release import read_release
from dashboards.report import report_pages, write_document
from dashboards.report.document import DocumentNotMade
from dashboards.report.still import still_charts, still_rows
from dashboards.settled import settled


@pytest.fixture(scope="module")
def release(release_folder):
    return read_release(release_folder)


@pytest.fixture(scope="module")
def page(release):
    return next(report_pages(release))


@pytest.fixture(scope="module")
def pdf(release_folder):
    return PdfReader(BytesIO((release_folder / "report.pdf").read_bytes()))


def words_of(pdf):
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pdf.pages))


def test_every_section_shows_figures_that_the_page_has(page):
    names = [name for section in page.more["sections"] for name in section.figures]
    assert names == [figure.id for figure in page.figures]
    assert len(names) >= 5


def test_shares_stand_beside_those_of_the_period_before(page, release):
    figure = next(f for f in page.figures if f.id == "shares-bmi-adult")
    periods = {row["period_key"] for row in still_rows(figure, page.cubes[figure.cube])}
    assert periods == set(release.periods[-2:])


def test_a_settled_figure_has_the_rows_of_the_choice_and_no_control_left(release):
    shares = next(prevalence_pages(release))
    figure = settled(shares, "now", sex="female", period=release.periods[0])
    cube = shares.cubes[figure.cube]
    expected = cube.cell({"sex": "female", "age": "20-99", "period": release.periods[0], "band": "normal"})
    row = next(row for row in still_rows(figure, cube) if row["band_key"] == "normal")
    assert figure.picks == () and figure.chosen == {}
    assert row["share"] == expected["share"] / 10 and row["people"] == expected["people"]
    assert "women" in figure.headline({})


def test_a_figure_that_is_not_there_is_named(release):
    with pytest.raises(KeyError, match="no figure nowhere"):
        settled(next(prevalence_pages(release)), "nowhere")


def test_a_withheld_figure_is_the_word_in_its_row_and_no_number(page):
    rows = [row for f in page.figures for row in still_rows(f, page.cubes[f.cube]) if row["state"] == WITHHELD]
    assert rows, "the invented release withholds some"
    for row in rows:
        assert row["t0"] == "withheld"
        assert not any(isinstance(value, float) for value in row.values())


def test_panels_get_a_picture_each_and_one_span(release):
    shares = next(prevalence_pages(release))
    figure = settled(shares, "trend")
    charts = still_charts(figure, shares.cubes[figure.cube], 150)
    assert [title for title, _ in charts] == list(shares.cubes[figure.cube].dimension("band").labels)
    assert all(svg.startswith("<svg") for _, svg in charts)


def test_a_still_chart_has_the_print_colours_and_no_name_of_a_style_sheet(page):
    figure = page.figures[0]
    [(_, svg)] = still_charts(figure, page.cubes[figure.cube], 480)
    assert "#0d6980" in svg and "var(--" not in svg


def test_the_pdf_is_tagged_and_says_what_it_is(pdf, release):
    assert pdf.metadata.title == f"{release.facts['programme']}: Report on {period_title(release.periods[-1])}"
    assert bool(pdf.root_object["/MarkInfo"]["/Marked"])
    assert pdf.root_object["/Lang"] == "en"
    assert "/StructTreeRoot" in pdf.root_object


def test_the_pdf_says_every_headline_and_caution(pdf, page):
    words = words_of(pdf)
    for figure in page.figures:
        assert re.sub(r"\s+", " ", figure.headline({})) in words
    for title, _ in page.more["cautions"]:
        assert title in words


def test_the_pdf_has_every_font_within_it(pdf):
    fonts = [
        font.get_object()
        for page in pdf.pages
        for font in page["/Resources"].get_object().get("/Font", {}).values()
    ]
    assert fonts
    for font in fonts:
        [inner] = font["/DescendantFonts"]
        descriptor = inner.get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in descriptor or "/FontFile3" in descriptor


def test_the_same_release_gives_the_same_bytes(release, page, release_folder, tmp_path):
    before = (release_folder / "report.pdf").read_bytes()
    time.sleep(1.1)  # a clock in the file would show
    assert write_document(release, page).read_bytes() == before


@pytest.mark.parametrize("name", ['#set text(fill: red) *bold* "x" \\ <b>', "Программа Ωμέγα", "港 programme"])
def test_a_name_is_text_whatever_it_holds(release, page, name, monkeypatch):
    monkeypatch.setitem(release.facts, "programme", name)
    before = (release.folder / "report.pdf").read_bytes()
    try:
        made = PdfReader(BytesIO(write_document(release, page).read_bytes()))
        assert made.metadata.title.startswith(name)
    finally:
        (release.folder / "report.pdf").write_bytes(before)


def test_a_still_chart_writes_numbers_as_the_release_does(page):
    figure = next(f for f in page.figures if f.id == "reach")
    with writing_as({"decimal": ",", "thousands": "'"}):
        [(_, svg)] = still_charts(figure, page.cubes[figure.cube], 480)
    assert ">1'000</text>" in svg


def test_what_the_compiler_refuses_is_an_error_with_its_words(release, page, monkeypatch):
    monkeypatch.setattr("dashboards.report.document.TEMPLATE", "base.html")
    with pytest.raises(DocumentNotMade, match=r"base\.html"):
        write_document(release, page)


def test_the_page_links_the_pdf_and_shows_the_same_headlines(release_folder, page):
    text = (release_folder / "report.html").read_text(encoding="utf-8")
    data = json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)[1])
    assert 'href="report.pdf"' in text
    assert [figure["headlines"][""] for figure in data["figures"]] == [f.headline({}) for f in page.figures]
