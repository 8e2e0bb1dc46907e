"""Which sites could use help with their readings: those whose analysers gave a signal, those that are overdue.

Sites stand in the order of their names; nothing here orders them by a figure.
"""

from __future__ import annotations

from collections.abc import Iterator

from dashboards.cubes import PUBLISHED
from dashboards.page import Page
from dashboards.release import Release
from dashboards.wording import listed, say, say_of

MOST_NAMED = 8  # of more the page tells


def help_wanted(release: Release, quality: Page) -> Iterator[str]:
    """Sentences, none where no site needs any; `quality` is the page on data quality."""
    overdue = {s["id"] for s in release.facts["sites"] if s.get("arrival", "on_time") != "on_time"}
    for key, sites in (("help.analysers", _with_signals(quality)), ("help.overdue", overdue)):
        names = [name for site, name in release.site_names.items() if site in sites]
        if len(names) > MOST_NAMED:
            yield say(f"{key}.many", n=len(names))
        elif names:
            yield say_of(key, len(names), list=listed(names))


def _with_signals(quality: Page) -> set[str]:
    """Sites with an analyser that gave a signal in any measure and period."""
    return {
        keys["analyser"].partition("|")[0]
        for name, cube in quality.cubes.items()
        if name.startswith("devices_")
        for keys, cell in cube.walk(["analyser", "period"], {})
        if cell["state"] == PUBLISHED and cell["signal"]
    }
