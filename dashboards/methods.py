"""The page that says what the figures mean and do not mean, with every table to download."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dashboards.numbers import count
from dashboards.page import Page
from dashboards.percentiles import measure_titles
from dashboards.release import Release
from dashboards.wording import CAUTIONS, HOW, TEXT, say_of, titled, unit_word


def methods_pages(release: Release) -> Iterator[Page]:
    rules = release.facts["disclosure"]
    numbers = {
        "minimum_count": rules["minimum_count"],
        "minimum_people": rules["minimum_people_for_percentile"],
    }
    titles = measure_titles(release)
    yield Page(
        file="methods.html",
        section="methods",
        title=TEXT["methods.title"],
        question=TEXT["methods.question"],
        template="methods.html",
        more={
            "cautions": titled(*(f"caution.{name}" for name in CAUTIONS)),
            "how": titled(*(f"how.{name}" for name in HOW), **numbers) + list(_how_disclosed(rules)),
            "bandings": list(release.bandings.values()),
            "measures": [
                {**m, "title": titles[m["name"]], "unit": unit_word(m["unit"])}
                for m in release.measures.values()
            ],
            "tables": [_table(release, table) for table in release.facts["tables"]],
            "release": release.facts,
        },
    )


def _how_disclosed(rules: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """What was done to counts on request."""
    if rules.get("rounding"):
        yield from titled("how.rounded", rounding=rules["rounding"])
    if noise := rules.get("noise"):
        yield from titled(
            "how.noisy",
            unit=noise["unit"],
            epsilon=noise["epsilon_of_a_person_in_every_period"],
            delta=noise["delta_of_a_person_in_every_period"],
            holds_for=noise["holds_for"],
        )


def _table(release: Release, table: dict[str, Any]) -> dict[str, Any]:
    """A published table with links to those of its files that are in the folder."""
    files = [
        (kind.upper() if kind == "csv" else kind.capitalize(), f"data/{table['name']}.{kind}")
        for kind in ("csv", "parquet")
        if (release.folder / "data" / f"{table['name']}.{kind}").is_file()
    ]
    return {
        **table,
        "columns": [{**column, "unit": unit_word(column["unit"] or "1")} for column in table["columns"]],
        "files": files,
        "rows": say_of("methods.rows", table["rows"], rows=count(table["rows"])),
    }
