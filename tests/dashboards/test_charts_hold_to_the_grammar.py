"""Every kind of chart is a specification that Vega-Lite's own schema accepts: it is not looked at when pages are made.

Stands on   the JSON schema of Vega-Lite, vega.github.io/schema/vega-lite, in the release that Altair carries.
"""

from __future__ import annotations

import copy
import json
import re

import altair as alt
import pytest
from invented_outcomes import add_outcomes
from invented_release import make_release
from jsonschema import ValidationError

from dashboards import (
    bar_charts,
    beam_charts,
    build_pages,
    chart_parts,
    outcome_charts,
    percentile_charts,
    share_charts,
    site_charts,
)

MODULES = (bar_charts, beam_charts, outcome_charts, percentile_charts, share_charts, site_charts)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """Specs of every page of a release with every table, one of each shape; and which functions made them."""
    made = set()
    with pytest.MonkeyPatch.context() as patch:
        for module in MODULES:
            for name, draw in vars(module).items():
                if getattr(draw, "__wrapped__", None) and draw.__module__ == module.__name__:
                    patch.setattr(module, name, _noting(draw, name, made))
        folder = add_outcomes(make_release(tmp_path_factory.mktemp("charts"), sites=2, quarters=2))
        build_pages(folder)
    specs = {}
    for page in folder.glob("*.html"):
        for block in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', page.read_text("utf-8"), re.S):
            for figure in json.loads(block).get("figures", []):
                if figure["spec"]:
                    specs[json.dumps(_without_words(figure["spec"]), sort_keys=True)] = figure["spec"]
    return list(specs.values()), made


def _noting(draw, name, made):
    def noted(*arguments, **options):
        made.add(name)
        return draw(*arguments, **options)

    return noted


def _without_words(spec):
    """Titles are any text: charts that differ in nothing else are one shape."""
    if isinstance(spec, dict):
        return {key: _without_words(value) for key, value in spec.items() if key != "title"}
    return [_without_words(one) for one in spec] if isinstance(spec, list) else spec


def test_every_chart_of_every_page_is_valid(drawn):
    specs, _ = drawn
    assert len(specs) > 15
    for spec in specs:
        alt.LayerChart.from_dict(spec, validate=True)


def test_every_function_that_draws_was_asked(drawn):
    _, made = drawn
    there = {
        name
        for module in MODULES
        for name, draw in vars(module).items()
        if getattr(draw, "__wrapped__", None) and draw.__module__ == module.__name__
    }
    assert there == made and len(there) >= 15


def test_a_word_that_the_grammar_does_not_have_is_found(drawn):
    spec = copy.deepcopy(drawn[0][0])
    spec["layer"][0]["mark"]["colour"] = "red"
    with pytest.raises(ValidationError):
        alt.LayerChart.from_dict(spec, validate=True)


def test_layers_are_laid_over_each_other_as_altair_does_it():
    base = alt.Chart(chart_parts.ROWS).encode(y=alt.Y("low:Q", scale=chart_parts.scale()))
    layers = (base.mark_rule(style="beam"), base.transform_filter("datum.n > 0").mark_point(style="bead"))
    parameters = [alt.param(name=name, value=value) for name, value in {"bottom": 0, "top": 100, "widest": 7}.items()]
    theirs = alt.layer(*layers).properties(width="container", height=alt.Step(22)).add_params(*parameters).to_dict()
    ours = chart_parts.finished(layers, alt.Step(22), widest=7)
    assert ours == {key: value for key, value in theirs.items() if key not in ("config", "$schema")}
