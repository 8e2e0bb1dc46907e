"""Water in fat-free mass, which stands beside the hydration band wherever that is shown.

Water as a share of weight falls as fat rises; a band without this beside it would be read as dehydration.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from dashboards import axes, headlines
from dashboards.cubes import Cube, Dimension
from dashboards.figures import Figure
from dashboards.numbers import period_title
from dashboards.percentiles import by_age_figure, unit_after
from dashboards.release import ALL_SITES, Release
from dashboards.typical_values import MIDDLE, middles
from dashboards.wording import TEXT, group_words, say

BANDING = "hydration"
WATER = "water_in_fat_free_mass"


def has_water(release: Release) -> bool:
    return WATER in release.measures and release.has("percentile")


def _adult_spans(release: Release) -> dict[str, tuple[int, int]]:
    return axes.age_spans(release, {**release.measures[WATER], "age_from": 18})


def water_figure(release: Release, sex: Dimension, period: Dimension) -> tuple[Cube, Figure]:
    """The spread of water in fat-free mass by age, for all sites."""
    measure, spans = release.measures[WATER], _adult_spans(release)
    rows = release.overall("percentile").filter(pl.col("measure") == WATER).with_columns(axes.AGE_KEY)
    cube = axes.percentile_cube(
        rows, [sex, axes.age_axis(spans), period], measure, release.facts["percentiles"]
    )
    return cube, replace(
        by_age_figure(release, cube, spans, measure, MIDDLE),
        id="water",
        question=TEXT["prevalence.water"],
        cube="water",
        is_wide=False,
        notes=(TEXT["prevalence.water.note"], TEXT["percentiles.read"]),
    )


def water_sentences(release: Release) -> Mapping[str, str]:
    """Site ("" for all) → what water in fat-free mass was in the last period, adults of both sexes."""
    return release.once(_water_sentences)


def _water_sentences(release: Release) -> Mapping[str, str]:
    if not has_water(release):
        return {}
    measure, spans, site = release.measures[WATER], _adult_spans(release), axes.site_axis(release)
    whole, last = axes.widest_adult(spans), release.periods[-1]
    rows = middles(release, whole).filter(pl.col("measure") == WATER)
    cube = axes.percentile_cube(rows, [site], measure, MIDDLE)
    return {
        key: say(
            "water.beside",
            sentence=headlines.spread(
                cell,
                group_words("all", *spans[whole]),
                period_title(last),
                unit_after(measure),
                measure["decimals"],
            ),
        )
        for (key, cell) in ((keys["site"], cell) for keys, cell in cube.walk(["site"], {}))
    }


def hydration_notes(sentences: Mapping[str, str], site: str = ALL_SITES) -> tuple[str, ...]:
    """The notes under every figure of the hydration band."""
    beside = (sentences[site],) if site in sentences else ()
    return (*beside, TEXT["prevalence.water.note"])
