"""Crude shares beside shares standardised for age, for the total group that the release standardises."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from dashboards import axes, beam_charts, headlines
from dashboards.cubes import Cube, Dimension
from dashboards.figures import Figure, share_columns
from dashboards.methods_named import methods_named
from dashboards.release import Release
from dashboards.wording import TEXT, group_words, say

SOURCE = "data/standardised_prevalence.csv"
KINDS = ("crude", "standardised")


def standardised_figure(
    release: Release, name: str, crude: pl.DataFrame, spans: Mapping[str, tuple[int, int]], sex: Dimension
) -> tuple[Cube, Figure] | None:
    """`crude`: rows of `prevalence` of this banding with `age` (AGE_KEY), all sites. None where nothing is
    standardised."""
    if not release.has("standardised_prevalence"):
        return None
    rows = release.overall("standardised_prevalence").filter(pl.col("banding") == name).with_columns(axes.AGE_KEY)
    present = {key: span for key, span in spans.items() if key in set(rows["age"])}
    if not present:
        return None
    age = axes.widest_adult(present)
    columns = ("sex", "period", "band", "proportion", "low", "high", "n", "denominator", "flag")
    both = pl.concat(
        [
            frame.filter(pl.col("age") == age).select(*columns, pl.lit(kind).alias("kind"))
            for kind, frame in zip(KINDS, (crude, rows), strict=True)
        ],
        how="vertical_relaxed",
    )
    kind = Dimension("kind", KINDS, tuple(TEXT[f"standardised.{kind}"] for kind in KINDS))
    period, band = axes.period_axis(release), axes.band_axis(release.bandings[name])
    cube = axes.share_cube(both, [sex, period, band, kind])
    standard = TEXT.get(f"standard.{rows['standard'][0]}", say("standard", name=rows["standard"][0]))
    heads = (("band", TEXT["column.band"]), ("kind", TEXT["column.kind"]))
    return cube, Figure(
        id="standardised",
        question=TEXT["standardised.question"],
        cube="standardised",
        along=("band", "kind"),
        picks=("sex", "period"),
        spec=beam_charts.two_shares(share_columns(), heads, "kind", KINDS),
        columns=share_columns(),
        source=SOURCE,
        notes=(
            TEXT["standardised.read"],
            say("standardised.method", standard=standard, method=methods_named(rows["method"])),
        ),
        headline=lambda at: headlines.moved_by_standard(
            cube, at, group_words(at["sex"], *spans[age]), period.label(at["period"]), standard
        ),
    )
