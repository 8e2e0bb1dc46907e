"""`release.json`: what a release is, for whoever reads its folder: settings, words, methods, tables and files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from pipeline import __version__, checks, measures
from pipeline.disclosure.noisy_counts import budget
from pipeline.programme import Programme, Site
from pipeline.release.arrival_shown import arrival_shown
from pipeline.release.contents import Contents
from pipeline.release.locale_marks import locale_marks
from pipeline.release.schema import Table

NAME = "latest"
LISTED = ("banding", "measure", "period")
_TOLD_BY_ROW = ("data_quality", "noisy_count")  # both small


@dataclass(frozen=True)
class Listing:
    """What the record tells of a table once its rows are written and let go."""

    table: Table
    height: int
    words: Mapping[str, frozenset[str]]  # column of LISTED → its distinct values
    rows: pl.DataFrame | None  # of a table of _TOLD_BY_ROW


def listing(table: Table, rows: pl.DataFrame) -> Listing:
    words = {
        name: frozenset(rows[name].drop_nulls().unique()) for name in LISTED if name in rows.columns
    }
    return Listing(table, rows.height, words, rows if table.name in _TOLD_BY_ROW else None)


def release_record(
    programme: Programme,
    as_of: date,
    tables: list[Listing],
    totals: pl.DataFrame,
    files: Contents,
    over_periods_as_of: date | None = None,
) -> dict[str, Any]:
    """The record, ready for JSON.

    over_periods_as_of: the day that figures over all periods rest on, where it is an earlier one.
    Shapes   tables: as `listing` gives each of protected rows; totals: columns item, n, protected likewise;
             files: path in the release → what is in it, for every file of `data/`.
    Missing  a total that is withheld is null; only measures and bandings that have rows are listed.
    """
    settings = programme.settings
    by_name = {listed.table.name: listed for listed in tables}
    used_bandings = by_name["prevalence"].words["banding"]
    used_measures = by_name["percentile"].words["measure"]
    noisy = by_name.get("noisy_count")
    return {
        "release": NAME,
        "programme": settings.name,
        "as_of": as_of.isoformat(),
        "written": locale_marks(settings.locale, as_of) | {"language": settings.language},
        **_over_periods(over_periods_as_of, settings.locale),
        "software": f"evenbeam {__version__}",
        "settings_sha256": programme.sha256,
        "period_kind": settings.period,
        "periods": sorted(frozenset().union(*(listed.words.get("period", ()) for listed in tables))),
        "sites": [_site(site, by_name["data_quality"].rows, as_of) for site in settings.site],
        "disclosure": {
            "minimum_count": settings.disclosure.minimum_count,
            "minimum_people_for_percentile": settings.disclosure.minimum_people_for_percentile,
            **({"rounding": settings.disclosure.rounding} if settings.disclosure.rounding else {}),
            **({"noise": budget(noisy.rows)} if noisy else {}),
        },
        "bandings": [
            _banding(banding) for banding in measures.BANDINGS.values() if banding.name in used_bandings
        ],
        "measures": [
            _measure(measure) for measure in measures.MEASURES.values() if measure.name in used_measures
        ],
        "age_groups": [
            {"age_from": low, "age_to": high, "is_total": is_total}
            for is_total, groups in ((False, settings.ages.groups), (True, settings.ages.totals))
            for low, high in groups
        ],
        "percentiles": list(measures.PERCENTILES),
        "follow_up": [
            {"months": window.months, "tolerance_days": window.tolerance_days}
            for window in sorted(settings.outcomes.follow_up, key=lambda window: window.months)
        ],
        "counts": dict(zip(totals["item"].to_list(), totals["n"].to_list(), strict=True)),
        "checks": [
            {
                "code": check.code,
                "title": check.title,
                "severity": check.severity,
                "explanation": check.explanation,
                "why": check.why,
            }
            for check in checks.CHECKS.values()
        ],
        "tables": [_table(listed) for listed in tables],
        "files": [
            {"path": path, "bytes": content.bytes, "sha256": content.sha256}
            for path, content in sorted(files.items())
        ],
    }


def _over_periods(day: date | None, locale: str) -> dict[str, Any]:
    if day is None:
        return {}
    return {"over_periods": {"as_of": day.isoformat(), "written": locale_marks(locale, day)["as_of"]}}


def _site(site: Site, quality: pl.DataFrame, as_of: date) -> dict[str, Any]:
    said = {"id": site.id, "name": site.name, "kind": site.kind}
    if site.expected is None:
        return said
    last = quality.filter(pl.col("site") == site.id)["period"].drop_nulls().max()
    state = arrival_shown(site.expected, last, as_of)
    return said | {"expected": site.expected, "last_period": last, "arrival": state}


def _banding(banding: measures.Banding) -> dict[str, Any]:
    return {
        "name": banding.name,
        "title": banding.title,
        "age_from": banding.age_from,
        "age_to": banding.age_to,
        "source": banding.source,
        "caution": banding.caution,
        "bands": [{"name": band.name, "title": band.title, "rule": band.rule} for band in banding.bands],
    }


def _measure(measure: measures.Measure) -> dict[str, Any]:
    return {
        "name": measure.name,
        "title": measure.title,
        "unit": measure.unit,
        "decimals": measure.decimals,
        "age_from": measure.age_from,
        "age_to": measure.age_to,
        "source": measure.source,
    }


def _table(listed: Listing) -> dict[str, Any]:
    table = listed.table
    return {
        "name": table.name,
        "title": table.title,
        "description": table.description,
        "rows": listed.height,
        "columns": [
            {
                "name": column.name,
                "title": column.title,
                "description": column.description,
                "unit": column.unit,
            }
            for column in table.columns
        ],
    }
