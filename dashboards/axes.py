"""The axes that pages share (sex, age, period, band, site) and the two cubes laid out along them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import polars as pl

from dashboards.cubes import NO_ROW, PUBLISHED, UNRELIABLE, Column, Cube, Dimension, cube
from dashboards.figures import Control, share_scale
from dashboards.numbers import age_title, period_number, period_numbered, period_title
from dashboards.release import ALL_SITES, Release
from dashboards.wording import TEXT, say

T = TypeVar("T")
SEXES = ("all", "female", "male")


def sex_axis() -> Dimension:
    return Dimension("sex", SEXES, tuple(TEXT[f"sex.{sex}"] for sex in SEXES))


def period_axis(release: Release) -> Dimension:
    return Dimension("period", tuple(release.periods), tuple(period_title(p) for p in release.periods))


def calendar_of(period: Dimension) -> tuple[str, ...]:
    """Every period from the axis's first to its last by its title; nothing where the axis has all of them.

    Nothing either where more than three quarters of them would be empty: a lone early day would leave the rest no room.
    """
    numbers = [period_number(key) for key in period.keys]
    every = range(numbers[0], numbers[-1] + 1) if numbers else range(0)
    if len(every) == len(numbers) or len(every) > 4 * len(numbers):
        return ()
    return tuple(period_title(period_numbered(number, period.keys[0])) for number in every)


def site_axis(release: Release) -> Dimension:
    return Dimension(
        "site", (ALL_SITES, *release.site_names), (TEXT["all_sites"], *release.site_names.values())
    )


def months_axis(rows: pl.DataFrame) -> Dimension:
    """The follow-ups of a table of outcomes, the earliest first."""
    keys = tuple(sorted(rows["months"].cast(pl.String).unique(), key=int))
    return Dimension("months", keys, tuple(say("months", months=key) for key in keys))


def band_axis(banding: Mapping[str, Any]) -> Dimension:
    return Dimension(
        "band", tuple(b["name"] for b in banding["bands"]), tuple(b["title"] for b in banding["bands"])
    )


def age_spans(release: Release, what: Mapping[str, Any]) -> dict[str, tuple[int, int]]:
    """Age group key → the ages that can really be in it, totals last.

    A group that begins before a banding or measure does is not offered, as the release has no rows for it (unless
    it has no other group). One that ends after it is cut: body fat in the group 20–99 is of people of 20–79, and
    the page says 20–79. Of groups that come to the same ages only the narrowest stays.
    """
    spans: dict[tuple[int, int], str] = {}
    groups = sorted(
        release.age_groups, key=lambda g: (g["is_total"], g["age_to"] - g["age_from"], g["age_from"])
    )
    reached = [g for g in groups if g["age_from"] <= what["age_to"] and g["age_to"] >= what["age_from"]]
    for group in [g for g in reached if g["age_from"] >= what["age_from"]] or reached:
        span = max(group["age_from"], what["age_from"]), min(group["age_to"], what["age_to"])
        spans.setdefault(span, f"{group['age_from']}-{group['age_to']}")
    totals = {f"{g['age_from']}-{g['age_to']}" for g in release.age_groups if g["is_total"]}
    order = sorted(spans.items(), key=lambda item: (item[1] in totals, item[0]))
    return {key: span for span, key in order}


def age_axis(spans: Mapping[str, tuple[int, int]]) -> Dimension:
    return Dimension("age", tuple(spans), tuple(age_title(*span) for span in spans.values()))


def single_ages(release: Release, spans: Mapping[str, tuple[int, int]]) -> tuple[str, ...]:
    """The groups that are not made of others."""
    totals = {f"{g['age_from']}-{g['age_to']}" for g in release.age_groups if g["is_total"]}
    return tuple(key for key in spans if key not in totals)


def widest_adult(spans: Mapping[str, tuple[int, int]]) -> str:
    """The group a page opens with: the widest that is only of adults, or the widest of all."""
    adult = {key: span for key, span in spans.items() if span[0] >= 18}
    groups = adult or spans
    return max(groups, key=lambda key: (groups[key][1] - groups[key][0], -groups[key][0]))


def ages_and_whole(release: Release, spans: Mapping[str, tuple[int, int]]) -> tuple[str, ...]:
    """The single groups, and after them the one that a page opens with."""
    single, whole = single_ages(release, spans), widest_adult(spans)
    return single if whole in single else (*single, whole)


def opening_band(banding: Mapping[str, Any]) -> str:
    """The band a page opens with: the second of three or more, the last of two."""
    names = [band["name"] for band in banding["bands"]]
    return names[1] if len(names) > 2 else names[-1]


def controls_for(*axes: Dimension, defaults: Mapping[str, str]) -> dict[str, Control]:
    return {
        axis.name: Control(axis.name, tuple(zip(axis.keys, axis.labels, strict=True)), defaults[axis.name])
        for axis in axes
    }


AGE_KEY = (pl.col("age_from").cast(pl.String) + "-" + pl.col("age_to").cast(pl.String)).alias("age")


def of_group(key: str) -> pl.Expr:
    """The rows of one age group, told by their numbers: over the rows of hundreds of sites, writing AGE_KEY to each
    takes longer than reading them."""
    age_from, age_to = map(int, key.split("-"))
    return (pl.col("age_from") == age_from) & (pl.col("age_to") == age_to)


def share_cube(frame: pl.DataFrame, axes: Sequence[Dimension]) -> Cube:
    """Rows of `prevalence` along `axes`; `frame` carries the text column `age` (AGE_KEY)."""
    return cube(
        frame,
        axes,
        {
            "share": Column("proportion", **share_scale()),
            "low": Column("low", **share_scale()),
            "high": Column("high", **share_scale()),
            "n": Column("n"),
            "people": Column("denominator"),
        },
    )


def percentile_cube(
    frame: pl.DataFrame,
    axes: Sequence[Dimension],
    measure: Mapping[str, Any],
    percentiles: Sequence[int],
    limits: Sequence[int] | None = None,
) -> Cube:
    """Rows of `percentile` for one measure: a cell holds every percentile (p3, p3_low, p3_high, …) and its people.

    `limits` are the percentiles that carry their interval, all of them if not given.
    Missing  a release leaves out the rows of a group that is wholly withheld, and those of a group that nobody was
             in; where such rows stand all the same, the cell is NO_ROW too, so that both kinds read alike.
    """
    every = sorted({*percentiles, *frame["percentile"].unique()})
    keys = tuple(map(str, every))
    scale = {"steps_per_unit": 10 ** measure["decimals"], "decimals": measure["decimals"]}
    long = cube(
        frame.with_columns(pl.col("percentile").cast(pl.String)),
        [Dimension("percentile", keys, keys), *axes],
        {"": Column("value", **scale), "_low": Column("low", **scale), "_high": Column("high", **scale),
         "n": Column("n")},
    )  # fmt: skip
    size = len(long.states) // len(every)

    def parts(values: Sequence[T]) -> list[Sequence[T]]:
        """One part a percentile, each of every cell."""
        return [values[start : start + size] for start in range(0, len(values), size)]

    figures = {end: parts(long.columns[end]) for end in ("", "_low", "_high")}
    columns = {
        f"p{p}{end}": figures[end][every.index(p)]
        for p in percentiles
        for end in (("", "_low", "_high") if limits is None or p in limits else ("",))
    }
    people = [max((n for n in ns if n is not None), default=None) for ns in zip(*parts(long.columns["n"]), strict=True)]
    states = "".join(_of_cell(letters) for letters in zip(*parts(long.states), strict=True))
    decimals = dict.fromkeys(columns, measure["decimals"])
    return Cube(tuple(axes), {**columns, "people": people}, {**decimals, "people": 0}, states)


def _of_cell(states: Sequence[str]) -> str:
    """The state of a cell from those of its percentiles."""
    return UNRELIABLE if UNRELIABLE in states else PUBLISHED if PUBLISHED in states else NO_ROW
