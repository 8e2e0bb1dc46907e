"""The page "Did the programme work?": what it says, hedged, and what it draws. Invented figures; mechanics."""

from __future__ import annotations

import html
import re
from pathlib import Path

import axe_playwright_python
import pytest
from invented_outcomes import add_outcomes
from invented_release import make_release
from test_in_the_browser import RULES, Watched, browser, own_files, table_of

from dashboards import build_pages, outcome_headlines
from dashboards.english_of_outcomes import OUTCOMES

__all__ = ["browser"]  # the fixture of the other browser tests


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = add_outcomes(
        make_release(tmp_path_factory.mktemp("outcomes"), sites=5, quarters=3, comparisons=False)
    )
    build_pages(made)
    return made


def words(folder, figure=None):
    text = (folder / "outcomes.html").read_text(encoding="utf-8")
    if figure:
        text = re.search(rf'<section class="figure[^"]*" id="{figure}".*?</section>', text, re.S).group(0)
        text = re.search(r"<p class=\"headline\".*?</p>", text, re.S).group(0)
    return html.unescape(re.sub(r"<[^>]+>", "", text)).replace("\u00a0", " ").replace("\u202f", " ")


def test_a_release_without_outcomes_has_no_such_page(tmp_path):
    made = make_release(tmp_path, sites=2, quarters=2, comparisons=False)
    assert "outcomes.html" not in {path.name for path in build_pages(made)}
    assert "outcomes.html" not in (made / "index.html").read_text(encoding="utf-8")


def test_the_change_is_told_with_its_range_and_without_a_cause(folder):
    said = words(folder, "change")
    assert "2.40 kg lower than at entry (95 % interval −2.90 to −1.90 kg)" in said
    assert "About 400 of 900 who were due were seen." in said
    assert "lies between −0.72 and −2.40 kg, and each of the 3 intervals leaves out no change." in said
    assert "Regression to the mean would by itself make about −0.05 kg." in said
    assert "too few can be compared (3 and 3)" in said and "not attributed to the programme" in said


def test_shares_are_those_of_people_and_say_what_counts_as_improved(folder):
    assert words(folder, "reliable") == (
        "Of adults who entered at a BMI of 25 or over and were seen again at 12 months, 50.0 % had improved by "
        "more than "
        "error, 40.0 % were unchanged and 10.0 % had worsened. 25.0 % weighed 5 % less or lower still (95 % "
        "interval 20.0 % "
        "to 30.0 %); of all who were due, with those not seen taken as unchanged, 7.5 %. "
        "The target is 25.0 %: the share of those seen is not clearly apart from it, that of all who were due clearly "
        "below it."
    )
    assert "settings declare that a lower weight counts as improved" in words(folder)


def test_where_gain_is_the_good_outcome_it_is_named_so(tmp_path):
    made = add_outcomes(make_release(tmp_path, sites=2, quarters=2, comparisons=False), direction="up")
    build_pages(made)
    assert "10.0 % had improved by more than error" in words(made, "reliable")
    assert "Higher by more than error (improved)" in words(made)


@pytest.mark.parametrize(
    ("effects", "said"),
    [
        ("none", "There is no comparison with sites that had not started: the change is not attributed"),
        ("few", "too few can be compared"),
        ("unclear", "there is no clear difference (−0.20 %, 95 % interval −0.90 to 0.50)"),
        ("differed", "already going differently before the start (by −0.90 %): the change is not attributed"),
        (
            "firm",
            "weight changed by −1.00 % (95 % interval −1.60 to −0.40), and before the start no clear difference",
        ),
    ],
)
def test_a_cause_is_named_only_with_a_firm_comparison_that_passed_its_check(tmp_path, effects, said):
    made = add_outcomes(make_release(tmp_path, sites=2, quarters=2, comparisons=False), effects=effects)
    build_pages(made)
    assert said in words(made)
    assert ("not attributed to the programme" in words(made)) is (effects != "firm")


def test_other_sentences_are_computed_from_their_figures(folder):
    assert "about 75.0 % was fat (95 % interval 70.0 % to 80.0 %)" in words(folder, "parts")
    assert words(folder, "retention").startswith("At 12 months, 45.0 % of adults who were due were seen")
    assert "the largest difference between those seen and all who were due is −0.22" in words(
        folder, "balance"
    )
    assert "Of adults who entered in ‘Normal’ and were seen at 12 months, 80.0 %" in words(
        folder, "transition"
    )
    assert "no clear change of BMI for age in children and young people aged 5–19" in words(
        folder, "children"
    )
    assert "For 2 of 4 sites it is more likely than not" in words(folder, "sites-lost")
    assert "Over all sites the probability of reaching it is 10 % to 60 %" in words(folder, "sites-lost")
    assert "more than 1.66 kg" in words(folder, "error")


def test_no_word_of_the_page_praises_or_blames():
    # common practice in care for people with eating disorders: a falling number is not called good, nobody is ranked
    said = " ".join(OUTCOMES.values()).lower()
    for word in (
        "success",
        "successful",
        "failed",
        "good result",
        "great",
        "ideal",
        "bad",
        "best site",
        "worst",
        "winner",
        "ranking",
        "congratulations",
        "poor",
    ):
        assert not re.search(rf"\b{word}\b", said), word


def cell(value, low, high, **more):
    return {"state": ".", "value": value, "low": low, "high": high, "seen": 100, "due": 200} | more


@pytest.mark.parametrize(("seen", "due", "words"), [
    ((320, 420), (80, 130), "of those seen is clearly above it, that of all who were due clearly below it"),
    ((200, 300), (249, 260), "of those seen is not clearly apart from it, that of all who were due not clearly apart"),
    ((250, 300), (100, 250), "of those seen is not clearly apart from it, that of all who were due not clearly apart"),
    ((251, 300), (100, 249), "of those seen is clearly above it, that of all who were due clearly below it"),
])  # fmt: skip
def test_a_target_is_reached_or_missed_only_where_the_interval_leaves_it_out(seen, due, words):
    class Shares:
        def cell(self, at):
            low, high = seen if at["estimator"] == "completers" else due
            return cell((low + high) // 2, low, high) | {"target": 250}

    said = outcome_headlines.reliable(Shares(), {"sex": "all"}, "12 months")
    assert f"The target is 25.0\u00a0%: the share {words}" in said


@pytest.mark.parametrize(("values", "words"), [
    ((-240, -180, -72), "lies between −0.72 and −2.40 kg"),
    ((72, 180, 240), "lies between 0.72 and 2.40 kg"),
    ((3, -5, 1), "lies between −0.05 and 0.03 kg"),  # every figure is in the range that is told
    ((1, 1, 1), "the mean change is 0.01 kg"),
])  # fmt: skip
def test_the_range_over_the_ways_of_taking_drop_out_holds_each_of_them(values, words):
    names = ("completers", "retention_weighted", "carried_forward")
    cells = {name: cell(value, value - 9, value + 9) for name, value in zip(names, values, strict=True)}
    said = outcome_headlines.mean_change(cells, None, ("all", "all"), "3 months", 2, "kg")
    assert words in said.replace("\u00a0", " ")


def test_an_interval_with_no_change_in_it_is_said():
    cells = {"completers": cell(-120, -200, -40), "carried_forward": cell(-30, -90, 30)}
    said = outcome_headlines.mean_change(cells, None, ("all", "all"), "3 months", 2, "kg")
    assert "and 1 of the 2 intervals include no change." in said
    cells = {"completers": cell(-120, -200, -40), "retention_weighted": cell(90, 30, 150)}
    assert "do not agree on its direction" in outcome_headlines.mean_change(
        cells, None, ("all", "all"), "3 months", 2, "kg"
    )


def test_withheld_figures_stand_in_no_sentence():
    hidden = {"state": "w", "value": None, "low": None, "high": None, "seen": None, "due": None}
    assert "withheld" in outcome_headlines.mean_change(
        {"completers": hidden}, None, ("male", "all"), "3 months", 2, "kg"
    )
    only = {"completers": cell(10, 5, 15), "carried_forward": hidden}
    said = outcome_headlines.mean_change(only, None, ("all", "all"), "3 months", 2, "kg")
    assert "0.10\u00a0kg higher" in said and "how much hangs on drop-out is not known" in said
    assert (
        outcome_headlines.attribution(hidden | {"sites": None, "comparison_sites": None}, None, 2)
        == OUTCOMES["o.alone"]
    )
    assert "withheld" in outcome_headlines.children(hidden, "x", "3 months", 3)
    assert outcome_headlines.target([hidden | {"probability": None}], []) == ""


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 390])
def test_every_chart_is_drawn_and_follows_the_choice(browser, folder, width):
    with Watched(browser, own_files(folder)) as watched:
        page = watched.open("outcomes.html")
        page.set_viewport_size({"width": width, "height": 900})
        for figure in (
            "change",
            "reliable",
            "parts",
            "retention",
            "transition",
            "children",
            "effect",
            "sites-change",
            "sites-lost",
        ):
            page.locator(f"#{figure}").scroll_into_view_if_needed()
            page.wait_for_selector(f"#{figure} [data-chart] svg")
        assert page.locator("#change svg .mark-symbol path").count() == 7
        page.get_by_role("radio", name="3 months").check()
        page.wait_for_function(
            "document.querySelector('#change [data-headline]').textContent.includes('At 3 months')"
        )
        assert table_of(page, "change")[0][1] == "−0.60"
        page.get_by_role("radio", name="Male", exact=True).check()
        page.wait_for_function(
            "document.querySelector('#reliable [data-headline]').textContent.includes('withheld')"
        )
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert watched.complaints == []


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_page(browser, folder, scheme):
    # the same rules of WCAG 2.2 as for the other pages
    source = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    with Watched(browser, own_files(folder), scheme=scheme) as watched:
        page = watched.open("outcomes.html")
        page.evaluate(source)
        found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
        assert len(found["passes"]) > 15, "axe did look"
        assert [(f["id"], f["nodes"][0]["html"]) for f in found["violations"]] == []
