"""The one script of Vega, Vega-Lite and Vega-Embed that all pages share, made from the installed vl-convert."""

from __future__ import annotations

from functools import cache

import vl_convert

NAME = "vega.js"


@cache
def vega_bundle() -> str:
    """The bundle's text; takes about three seconds, once a process. No network, the same bytes every time.

    It is wrapped in a function: the bundle leaks short top-level names otherwise, and a page script that
    declares one of them would not run.
    """
    text = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")
    return f"(function () {{\n{text}\n}})();\n"
