"""The pages in a real browser: nothing is fetched, nothing is complained of, every choice does what it says.

Mechanics. A missing Chromium fails these tests: pages that no browser opened are not tested.
"""

from __future__ import annotations

import functools
import json
import shutil
import threading
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import sync_playwright

from dashboards.pages import SECTIONS
from dashboards.release import read_release
from dashboards.report import report_pages
from dashboards.report.still import still_rows

pytestmark = pytest.mark.browser

ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]  # fmt: skip
DRAWN = "[...document.querySelectorAll('[data-chart]')].every(chart => chart.dataset.drawn)"
PAGES = ("index", "prevalence", "prevalence-bmi-child", "prevalence-hydration", "percentiles", "percentiles-bmi-z",
         "percentiles-visceral-fat-level", "sites", "sites-hydration", "sites-mean-weight", "site-site-001",
         "data-quality", "report", "methods")  # fmt: skip


@pytest.fixture(scope="module")
def browser():
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "no chromium on the PATH; on Debian: apt-get install chromium"
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


class Watched:
    """A page whose console and requests are on record."""

    def __init__(self, browser, own, width=1280, scheme="light", **options):
        self.context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=scheme, **options
        )
        self.page = self.context.new_page()
        self.complaints, self.own = [], own
        self.page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        self.page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        self.page.on("requestfailed", lambda request: self.complaints.append(f"failed: {request.url}"))
        self.page.on("request", self._request)

    def _request(self, request):
        if not request.url.startswith((self.own, "data:")):
            self.complaints.append(f"request: {request.url}")

    def open(self, name):
        """Open a page and have every chart drawn, also those below the window."""
        self.page.goto(f"{self.own}/{name}")
        self.draw()
        return self.page

    def draw(self):
        self.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        self.page.wait_for_function(DRAWN)

    def __enter__(self):
        return self

    def __exit__(self, *exc_info):
        self.context.close()


def own_files(folder):
    return folder.as_uri()


def table_of(page, figure):
    return page.evaluate(
        "id => [...document.querySelectorAll(`#${id} [data-table] tbody tr`)]"
        ".map(row => [...row.children].map(cell => cell.textContent))", figure)  # fmt: skip


# ---- every page, wide and narrow, light and dark


@pytest.mark.parametrize(
    ("width", "scheme"), [(1280, "light"), (1280, "dark"), (390, "light"), (390, "dark")]
)
def test_every_kind_of_page_opens_from_disk_without_complaint(browser, release_folder, width, scheme):
    with Watched(browser, own_files(release_folder), width, scheme) as watched:
        for name in PAGES:
            page = watched.open(f"{name}.html")
            charts = page.locator("[data-chart]").count()
            assert page.locator("[data-chart] svg").count() >= charts, name
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (
                f"{name} scrolls sideways"
            )
        assert watched.complaints == []


def test_every_page_of_the_release_opens_without_complaint(browser, release_folder):
    names = sorted(path.name for path in release_folder.glob("*.html"))
    assert len(names) > 30
    with Watched(browser, own_files(release_folder)) as watched:
        for name in names:
            watched.open(name)
            assert watched.complaints == [], name


def test_no_page_scrolls_sideways_at_320_pixels(browser, release_folder):
    with Watched(browser, own_files(release_folder), 320) as watched:
        for name in PAGES:
            page = watched.open(f"{name}.html")
            page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (
                f"{name} scrolls sideways"
            )


def test_the_pages_open_from_a_web_server_too(browser, release_folder):
    class Quiet(SimpleHTTPRequestHandler):
        def log_message(self, *arguments):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(release_folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        with Watched(browser, f"http://127.0.0.1:{server.server_port}") as watched:
            for name in ("index", "prevalence", "sites"):
                watched.open(f"{name}.html")
            assert watched.complaints == []
    finally:
        server.shutdown()
        server.server_close()


def test_every_download_is_the_file_that_its_link_names(browser, release_folder):
    handler = functools.partial(SimpleHTTPRequestHandler, directory=str(release_folder))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    own = f"http://127.0.0.1:{server.server_port}"
    offered = set()
    try:
        with Watched(browser, own) as watched:
            for name in ("methods", "report", "prevalence", "data-quality"):
                page = watched.open(f"{name}.html")
                links = page.locator("a[download]")
                for i in range(links.count()):
                    file = links.nth(i).get_attribute("href")
                    if file in offered:
                        continue
                    offered.add(file)
                    got = watched.context.request.get(f"{own}/{file}", timeout=90_000).body()
                    assert got == (release_folder / file).read_bytes() and got, file
    finally:
        server.shutdown()
        server.server_close()
    assert {"report.pdf", "tables.xlsx", "data/prevalence.csv", "data/prevalence.parquet"} <= offered


# ---- choices


def test_the_script_writes_the_same_tables_as_the_build(browser, release_folder):
    """Every figure of a few pages, in views other than the first, against figures.table_rows."""
    from dashboards.figures import table_rows

    release = read_release(release_folder)
    wanted = {
        "prevalence-hydration.html",
        "percentiles-bmi-z.html",
        "percentiles-visceral-fat-level.html",
        "sites-mean-weight.html",
        "sites.html",
        "site-site-002.html",
        "data-quality.html",
    }
    pages = [page for _, make in SECTIONS for page in make(release) if page.file in wanted]
    assert len(pages) == len(wanted)
    compared = 0
    with Watched(browser, own_files(release_folder)) as watched:
        for page in pages:
            for choose in (lambda keys: keys[0], lambda keys: keys[-1], lambda keys: keys[len(keys) // 2]):
                state = {c.name: choose([key for key, _ in c.options]) for c in page.controls.values()}
                state["order"] = "name"
                address = "&".join(f"{name}={key}" for name, key in state.items() if name in page.controls)
                watched.page.goto("about:blank")
                watched.page.goto(f"{watched.own}/{page.file}#{address}")
                for figure in page.figures:
                    rows = table_rows(figure, page.cubes[figure.cube], state)
                    assert table_of(watched.page, figure.id) == [row["heads"] + row["cells"] for row in rows]
                    said = watched.page.locator(f"#{figure.id} [data-headline]").text_content()
                    assert said == figure.headline({name: state[name] for name in figure.picks})
                    compared += len(rows)
    assert compared > 400


def test_a_choice_changes_chart_table_headline_address_and_text_alternative(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("prevalence.html")
        chart = page.locator("#now [data-chart]")
        before = (chart.locator("svg").inner_html(), table_of(page, "now"), chart.get_attribute("aria-label"))
        page.get_by_role("radio", name="Female").check()
        page.get_by_label("Age", exact=True).select_option("30-39")
        page.wait_for_function(
            "old => document.querySelector('#now [data-chart] svg').innerHTML !== old", arg=before[0]
        )
        assert page.evaluate("location.hash") == "#sex=female&age=30-39"
        assert table_of(page, "now") != before[1]
        headline = page.locator("#now [data-headline]").text_content()
        assert "women aged 30–39" in headline
        assert headline in chart.get_attribute("aria-label") != before[2]
        assert headline in page.locator("#status").text_content()
        assert watched.complaints == []


def test_an_address_opens_its_view_and_nonsense_in_it_is_ignored(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("prevalence.html#sex=male&age=nonsense&unknown=1&period=2024Q2")
        assert page.locator("input[name=sex]:checked").get_attribute("value") == "male"
        assert page.get_by_label("Period", exact=True).input_value() == "2024Q2"
        assert "men aged 20–99" in page.locator("#now [data-headline]").text_content()
        assert watched.complaints == []


def test_a_sibling_page_keeps_the_choice_and_reset_forgets_it(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("prevalence.html#sex=male&period=2024Q2")
        page.get_by_role("link", name="Visceral fat level").click()
        page.wait_for_url("**/prevalence-visceral-fat.html#sex=male&period=2024Q2")
        assert "men aged 20–99 measured in Q2 2024" in page.locator("#now [data-headline]").text_content()
        page.get_by_role("button", name="Back to the first view").click()
        page.wait_for_function("location.hash === ''")
        assert "adults aged 20–99" in page.locator("#now [data-headline]").text_content()


def test_sites_can_stand_by_people_measured_but_never_by_share(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("sites.html")
        options = page.locator("input[name=order]").evaluate_all("inputs => inputs.map(input => input.value)")
        assert options == ["name", "people"]
        page.get_by_role("radio", name="By people measured").check()
        rows = table_of(page, "sites")[1:]
        people = [int(row[4].replace("\u202f", "")) for row in rows if row[4] != "withheld"]
        assert people == sorted(people, reverse=True)
        assert len(people) > 2


def test_a_withheld_figure_draws_no_mark_at_zero(browser, release_folder):
    data = json.loads(
        (release_folder / "sites.html")
        .read_text(encoding="utf-8")
        .split('id="data">')[1]
        .split("</script>")[0]
    )
    assert "w" in data["cubes"]["sites"]["states"]
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("sites.html#band=underweight")
        rows = table_of(page, "sites")[1:]
        hidden = [row for row in rows if row[1] == "withheld"]
        assert hidden
        beads = page.locator("#sites [data-chart] svg .mark-symbol path").count()
        assert beads == len([row for row in rows if row[1] not in ("withheld", "none measured")])
        said = page.locator("#sites [data-chart] svg .mark-text").all_text_contents()
        assert sum(text.count("withheld") for text in said) == len(hidden)


# ---- without JavaScript, by keyboard, in print


def test_without_javascript_tables_and_reason_stand(browser, release_folder):
    with Watched(browser, own_files(release_folder), java_script_enabled=False) as watched:
        watched.page.goto(f"{watched.own}/prevalence.html")
        assert watched.page.locator("#now [data-table] tbody tr").count() == 6
        assert watched.page.locator(".notice").is_visible()
        assert not watched.page.locator("#controls").is_visible()


def test_the_keyboard_reaches_content_controls_and_tables(browser, release_folder):
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("prevalence.html")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        reached = set()
        for _ in range(60):
            page.keyboard.press("Tab")
            reached.add(page.evaluate("document.activeElement.name || document.activeElement.className || "
                                      "document.activeElement.tagName"))  # fmt: skip
        assert {"sex", "age", "period", "band", "scroll", "SUMMARY"} <= reached


def test_charts_follow_light_dark_and_print_without_being_drawn_again(browser, release_folder):
    bead = "getComputedStyle(document.querySelector('#now [data-chart] svg .mark-symbol path')).fill"
    mark = "getComputedStyle(document.documentElement).getPropertyValue('--mark').trim()"
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("prevalence.html")
        seen = set()
        for media in ({"color_scheme": "light"}, {"color_scheme": "dark"}, {"media": "print"}):
            page.emulate_media(**media)
            red, green, blue = (
                int(part) for part in page.evaluate(bead).removeprefix("rgb(").removesuffix(")").split(",")
            )
            assert f"#{red:02x}{green:02x}{blue:02x}" == page.evaluate(mark)
            seen.add(page.evaluate(bead))
        assert len(seen) == 2
        assert watched.complaints == []


def test_every_chart_has_a_name_a_table_and_a_source(browser, release_folder):
    charts = 0
    with Watched(browser, own_files(release_folder)) as watched:
        for name in PAGES:
            page = watched.open(f"{name}.html")
            for figure in page.locator("section.figure").all():
                chart = figure.locator("[data-chart]")
                if chart.count():
                    assert chart.get_attribute("role") == "img"
                    assert len(chart.get_attribute("aria-label")) > 40
                    charts += 1
                assert figure.locator("table caption").count() == 1
                assert figure.locator("a[download]").get_attribute("href").startswith("data/")
    assert charts > 25


TEXT_CONTRAST = """() => {
  const parse = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((v) => v / 255)
    .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const colour = parse(getComputedStyle(at).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const poor = [];
  for (const element of document.querySelectorAll('body *:not(svg *)')) {
    const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!own || ['SCRIPT', 'NOSCRIPT', 'OPTION'].includes(element.tagName)) continue;
    if (!element.getClientRects().length) continue;
    const [one, two] = [light(parse(getComputedStyle(element).color)), light(behind(element))].sort((a, b) => b - a);
    const ratio = (one + 0.05) / (two + 0.05);
    if (ratio < 4.5) poor.push(`${element.tagName}.${element.className} ${ratio.toFixed(2)}`);
  }
  return poor;
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_has_the_contrast_of_wcag_aa(browser, release_folder, scheme):
    with Watched(browser, own_files(release_folder), scheme=scheme) as watched:
        for name in PAGES:
            assert watched.open(f"{name}.html").evaluate(TEXT_CONTRAST) == [], name


# W3C Web Content Accessibility Guidelines 2.2, levels A and AA, as the general-purpose library axe-core 4.12 tests them
# (it sees what a program can see: order, names, roles, contrast; not whether words make sense).
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_kind_of_page(browser, release_folder, scheme):
    source = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    with Watched(browser, own_files(release_folder), scheme=scheme) as watched:
        for name in PAGES:
            page = watched.open(f"{name}.html")
            page.evaluate(source)
            found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
            assert len(found["passes"]) > 15, "axe did look"
            told = [(f["id"], f["nodes"][0]["html"], f["nodes"][0]["failureSummary"]) for f in found["violations"]]
            assert told == [], name


def test_axe_finds_a_fault_that_is_planted(browser, release_folder):
    source = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    with Watched(browser, own_files(release_folder)) as watched:
        page = watched.open("index.html")
        page.evaluate("document.querySelector('main').append(document.createElement('input'))")
        page.evaluate(source)
        found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
        assert [fault["id"] for fault in found["violations"]] == ["label"]


def test_a_still_figure_has_the_rows_that_the_page_draws(browser, release_folder):
    """The report's PDF draws from Python's rows, its page from the script's: they must be one."""
    page = next(report_pages(read_release(release_folder)))
    with Watched(browser, own_files(release_folder)) as watched:
        opened = watched.open("report.html")
        for figure in page.figures:
            drawn = opened.evaluate(
                "id => window.evenbeam.rowsOf(window.evenbeam.page.figures.find(f => f.id === id), {})"
                ".map(({heads, cells, link, inTable, ...row}) => row)",
                figure.id,
            )
            assert drawn == still_rows(figure, page.cubes[figure.cube])
