"""The line under every page, in the report and in the workbook: of when the figures are, and what made them."""

from __future__ import annotations

from dashboards.numbers import period_title
from dashboards.release import Release
from dashboards.wording import say


def stamp(release: Release) -> str:
    facts = release.facts
    said = say(
        "stamp", last=period_title(release.periods[-1]), as_of=facts["written"]["as_of"], software=facts["software"]
    )
    waiting = facts.get("over_periods")
    return f"{said} {say('stamp.waiting', day=waiting['written'])}" if waiting else said
