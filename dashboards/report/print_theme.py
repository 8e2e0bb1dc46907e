"""The styles of the pages' charts on paper: ink that prints, the report's own type."""

from __future__ import annotations

from typing import Any

FONT = "Libertinus Serif"  # carried by Typst, so the same everywhere
COLOURS = {  # under the names of page.css
    "ink": "#14292f", "soft": "#44575d", "line": "#cfd8da", "mark": "#0d6980", "haze": "#a3ccd6", "sheet": "#ffffff",
    "second": "#a4550a",
}  # fmt: skip


def print_config() -> dict[str, Any]:
    """A Vega configuration with the style names of assets/charts.js."""
    ink, soft, line = COLOURS["ink"], COLOURS["soft"], COLOURS["line"]
    mark, haze, sheet = COLOURS["mark"], COLOURS["haze"], COLOURS["sheet"]
    text = {"font": FONT, "color": ink, "fontSize": 12}
    shown = {"filled": True, "opacity": 1}
    hollow = {**shown, "color": sheet, "stroke": ink}
    return {
        "background": "transparent",
        "font": FONT,
        "view": {"stroke": None},
        "padding": {"left": 1, "right": 6, "top": 4, "bottom": 2},
        "axis": {
            "labelColor": soft, "titleColor": soft, "labelFontSize": 11, "titleFontSize": 11,
            "titleFontWeight": "normal", "gridColor": line, "gridWidth": 0.6, "domainColor": line,
            "tickColor": line, "labelPadding": 5, "labelFont": FONT, "titleFont": FONT,
        },
        "axisX": {"grid": True, "domain": False, "ticks": False},
        "axisY": {"grid": True, "domain": False, "ticks": False},
        "axisBand": {"grid": False, "labelColor": ink},
        "axisPoint": {"grid": False, "labelColor": ink},
        "range": {"category": [mark, COLOURS["second"]]},
        "style": {
            "track": {"color": line, "strokeWidth": 0.8},
            "beam": {"color": haze, "strokeWidth": 9, "strokeCap": "round"},
            "beam-thin": {"color": haze, "strokeWidth": 5, "strokeCap": "round"},
            "bead": {**shown, "color": mark, "stroke": sheet, "strokeWidth": 1.2, "size": 90},
            "bead-small": {**shown, "color": mark, "stroke": sheet, "strokeWidth": 1, "size": 48},
            "bead-over": {**hollow, "strokeWidth": 1.2, "size": 46},
            "diamond": {**hollow, "strokeWidth": 1.2, "size": 70},
            "diamond-small": {**hollow, "strokeWidth": 1, "size": 40},
            "ring": {"color": "transparent", "stroke": ink, "strokeWidth": 1.2, "filled": True, "size": 120},
            "thread": {"color": mark, "strokeWidth": 1.1, "opacity": 0.7},
            "withheld": {"color": soft, "strokeWidth": 0.8, "strokeDash": [2, 4]},
            "reference": {"color": ink, "strokeWidth": 1},
            "reference-band": {"color": line, "opacity": 0.55},
            "limit": {"color": soft, "strokeWidth": 1, "strokeDash": [5, 4]},
            "limit-outer": {"color": soft, "strokeWidth": 1, "strokeDash": [1.5, 3]},
            "target": {"color": ink},
            "bar": {"color": mark, "cornerRadiusEnd": 1.5},
            "name": text,
            "written": {**text, "fontWeight": 600},
            "end": {**text, "color": soft, "fontSize": 10},
            "note": {**text, "color": soft, "fontSize": 11, "fontStyle": "italic"},
        },
    }  # fmt: skip

