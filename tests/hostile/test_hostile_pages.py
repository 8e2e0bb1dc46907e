"""Published pages, report, workbook and CSV of a programme all of whose names are hostile: shown as text, and no more.

Mechanics, in headless Chromium. Settings refuse control and direction characters in names; here they stand in the
release itself, as if something had let them through.
"""

import csv
import json
import shutil
from io import BytesIO

import polars as pl
import pytest
from invented_release import make_release
from playwright.sync_api import sync_playwright
from pypdf import PdfReader

from dashboards import build_pages
from pipeline.release.csv_file import FORMULA_OPENERS, csv_pieces

NAMES = (
    "<script>window.hit=1</script>",
    "</script><script>window.hit=1</script>",
    '"onload="window.hit=1" onerror="window.hit=1',
    "<img src=x onerror=window.hit=1><svg onload=window.hit=1>",
    "{{7*7}} ${7*7} {%7%} `${window.hit=1}`",
    "javascript:window.hit=1//%0awindow.hit=1",
    '#eval("window") #{7*7} $x^2$ *a* _b_ @ref <label> ]#panic()[',
    '=HYPERLINK("http://x","y")',
    "\u202egnp.exe \u2066x\u200b",
    "\\u003cscript\\u003ewindow.hit=1",
)
SIBLINGS = ("prevalence-", "percentiles-", "sites-")  # made as the first of each is
WATCH = """
window.hit = 0;
window.broken = [];
addEventListener("securitypolicyviolation", event => broken.push(event.violatedDirective));
"""
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
]


@pytest.fixture(scope="module")
def release(tmp_path_factory):
    """Every name that a programme or its files give is one of NAMES."""
    folder = make_release(tmp_path_factory.mktemp("hostile"), sites=len(NAMES), quarters=2, base=40)
    facts = json.loads((folder / "release.json").read_text())
    facts["programme"] = NAMES[0] + NAMES[6]
    facts["software"] = NAMES[1]
    for site, name in zip(facts["sites"], NAMES, strict=True):
        site["name"] = name
    for check in facts["checks"]:
        check["explanation"] = NAMES[3]
    for table in facts["tables"]:
        table["title"] = table["description"] = NAMES[1]
        for column in table["columns"]:
            column["description"] = NAMES[7]
    (folder / "release.json").write_text(json.dumps(facts), encoding="utf-8")
    for path in (folder / "data").glob("*.parquet"):
        rows = pl.read_parquet(path)
        if "device" in rows.columns:
            devices = {
                name: NAMES[n % len(NAMES)]
                for n, name in enumerate(rows["device"].unique().drop_nulls().sort())
            }
            rows.with_columns(pl.col("device").replace(devices)).write_parquet(path)
    build_pages(folder)
    return folder


@pytest.mark.browser
def test_nothing_in_a_name_is_ever_executed_and_the_policy_is_never_broken(release):
    pages = [path for path in sorted(release.glob("*.html")) if not path.stem.startswith(SIBLINGS)]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        context = browser.new_context()
        context.add_init_script(WATCH)
        asked = []
        context.on("request", lambda request: asked.append(request.url))
        for path in pages:
            page = context.new_page()
            errors = []
            page.on("pageerror", lambda error, errors=errors: errors.append(str(error)))
            page.on("dialog", lambda dialog, errors=errors: errors.append(dialog.message))
            page.goto(path.as_uri())
            page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
            page.wait_for_function(
                "[...document.querySelectorAll('[data-chart]')].every(chart => chart.dataset.drawn)"
            )
            assert page.evaluate("[window.hit, window.broken.length]") == [0, 0], path.name
            assert not errors, (path.name, errors)
            assert (
                page.evaluate(
                    "document.querySelectorAll('[onload], [onerror], img[src=x], svg[onload]').length"
                )
                == 0
            )
            page.close()
        browser.close()
    assert len(pages) > 15 and all(url.startswith((release.as_uri(), "data:")) for url in asked)


def test_every_name_stands_on_its_page_as_it_is_written(release):
    from html.parser import HTMLParser

    class Words(HTMLParser):
        def __init__(self):
            super().__init__()
            self.said, self.elements = [], set()

        def handle_data(self, data):
            self.said.append(data)

        def handle_starttag(self, tag, attributes):
            self.elements |= {(tag, name) for name, _ in attributes}

    for n, name in enumerate(NAMES[:8]):
        words = Words()
        words.feed((release / f"site-site-{n + 1:03d}.html").read_text(encoding="utf-8"))
        assert name in "".join(words.said)
        assert not {attribute for _, attribute in words.elements} & {"onload", "onerror", "style", "onclick"}


def test_the_report_on_paper_shows_markup_as_text(release):
    text = " ".join(
        page.extract_text() for page in PdfReader(BytesIO((release / "report.pdf").read_bytes())).pages
    )
    flat = "".join(text.split())
    assert "#eval(" in flat and "]#panic()[" in flat and "<script>window.hit=1</script>" in flat


def test_the_workbook_has_neither_formulas_nor_links(release):
    import zipfile

    with zipfile.ZipFile(release / "tables.xlsx") as parts:
        sheets = {name: parts.read(name) for name in parts.namelist()}
    assert b"HYPERLINK(" in sheets["xl/sharedStrings.xml"]
    assert not any(b"<f>" in content or b"<hyperlink" in content for content in sheets.values())
    assert not any("externalLink" in name or "vba" in name.lower() for name in sheets)


@pytest.mark.parametrize("opener", FORMULA_OPENERS, ids=ascii)
def test_no_cell_of_a_csv_opens_like_a_formula(opener):
    rows = pl.DataFrame({"name": [f"{opener}cmd|' /C calc'!A0", "North Quay"], "value": [-1.5, 2.0]})
    first, second = list(csv.reader(b"".join(csv_pieces(rows)).decode().splitlines(keepends=True)))[1:]
    assert first[0].startswith("'" + opener) and first[1] == "-1.5" and second == ["North Quay", "2.0"]
