"""Smooth percentile curves by age: the figure, and why one sex or both may have none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboards import axes, headlines, percentile_charts
from dashboards.cubes import Cube, Dimension
from dashboards.figures import Figure, TableColumn
from dashboards.methods_named import methods_named
from dashboards.release import Release
from dashboards.wording import TEXT, percentile_title, say

SOURCE = "data/percentile_curve.csv"
PERCENTS = tuple(percentile_charts.CURVES)
EVERY = 5  # the table has the ages that this divides


def curve_figure(release: Release, name: str, unit: str) -> tuple[Cube, Figure] | None:
    """The curves of a measure, or None where the release says nothing of them."""
    if not (release.has("curve") and release.has("percentile_curve")):
        return None
    how = {row["sex"]: row for row in _rows(release, "curve", name).iter_rows(named=True)}
    if not how:
        return None
    measure, rows = _finer(release.measures[name]), _rows(release, "percentile_curve", name)
    cube = _curve_cube(rows, measure)
    columns, sexes = _columns(), _sexes(how)
    heads = (("sex", TEXT["column.sex"]), ("year", TEXT["column.age"]))
    ages = cube.dimension("year").keys
    reasons = {sex: _why_none(cube, how.get(sex), sex) for sex in axes.SEXES}

    def headline(at: Mapping[str, str]) -> str:
        shown = sexes[at["sex"]]
        if reasons[shown[0]] and len({reasons[sex] for sex in shown}) == 1:
            return say(
                "curves.of", sex=TEXT["and"].join(TEXT[f"sex.{s}"] for s in shown), what=reasons[shown[0]]
            )
        return " ".join(
            say(
                "curves.of",
                sex=TEXT[f"sex.{sex}"],
                what=reasons[sex] or headlines.over_ages(cube, sex, unit, measure["decimals"]),
            )
            for sex in shown
        )

    return cube, Figure(
        id="curves",
        question=TEXT["curves.question"],
        cube="curves",
        along=("sex", "year"),
        picks=("sex",),
        chosen={"sex": ("sex", sexes)},
        tabled={"year": tuple(age for age in ages if int(age) % EVERY == 0) or ages},
        panels="sex",
        instead={sex: reason[0].upper() + reason[1:] for sex, reason in reasons.items() if reason},
        spec=percentile_charts.percentile_curves(columns, heads, unit.strip(), (int(ages[0]), int(ages[-1]))),
        columns=columns,
        source=SOURCE,
        extent=(*(f"p{p}" for p in PERCENTS), "p50_low", "p50_high"),
        is_from_zero=False,
        is_one_scale=True,
        is_folded=True,
        is_wide=True,
        none=TEXT["curves.none"],
        notes=(TEXT["curves.read"], *_methods(how, rows)),
        headline=headline,
    )


def _finer(measure: Mapping[str, Any]) -> Mapping[str, Any]:
    """A smooth curve of whole numbers would be a staircase: it has one decimal at least."""
    return {**measure, "decimals": max(1, measure["decimals"])}


def _rows(release: Release, table: str, name: str) -> pl.DataFrame:
    return release.rows(table).filter(pl.col("measure") == name)


def _curve_cube(rows: pl.DataFrame, measure: Mapping[str, Any]) -> Cube:
    is_drawn = (pl.col("flag") != "withheld").fill_null(True) & pl.col("value").is_not_null()
    known = sorted({*rows.filter(is_drawn)["age"].to_list()}) or [measure["age_from"]]
    keys = tuple(str(age) for age in range(known[0], known[-1] + 1))
    return axes.percentile_cube(
        rows.with_columns(year=pl.col("age").cast(pl.String)),
        [axes.sex_axis(), Dimension("year", keys, keys)],
        measure,
        PERCENTS,
        limits=(50,),
    )


def _columns() -> tuple[TableColumn, ...]:
    figures = [TableColumn(percentile_title(p), "value", (f"p{p}",)) for p in PERCENTS]
    middle = PERCENTS.index(50) + 1
    interval = TableColumn(TEXT["curves.column.interval"], "interval", ("p50_low", "p50_high"))
    return (*figures[:middle], interval, *figures[middle:])


def _sexes(how: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """What each choice of sex shows: both sexes beside each other where there is no curve of all people."""
    together = ("all",) if "all" in how else ("female", "male")
    return {"all": together, "female": ("female",), "male": ("male",)}


def _why_none(cube: Cube, how: Mapping[str, Any] | None, sex: str) -> str:
    """Empty where there is a curve; otherwise the reason, as the release gives it."""
    if how is None:
        return TEXT["curves.not_made"]
    if how["flag"] == "withheld":
        return TEXT["curves.withheld"]
    if how["method"] == "none":
        return say("curves.why", why=(how["why"] or "").rstrip("."))
    is_drawn = any(headlines.is_shown(cell, "p50") for _, cell in cube.walk(["year"], {"sex": sex}))
    return "" if is_drawn else TEXT["curves.withheld"]


def _methods(how: Mapping[str, Any], rows: pl.DataFrame) -> list[str]:
    """One sentence a method, naming the sexes it was used for and why it was chosen."""
    used: dict[tuple[str, str, str], list[str]] = {}
    for sex in axes.SEXES:
        row = how.get(sex)
        if row and row["method"] != "none" and row["flag"] != "withheld":
            used.setdefault((row["method"], row["why"] or "", _detail(rows, sex)), []).append(
                TEXT[f"sex.{sex}"]
            )
    return [
        say("curves.method", sexes=TEXT["and"].join(sexes), method=_method_title(method), detail=detail)
        + (" " + say("curves.method.why", why=methods_named([why.rstrip(".")])) if why else "")
        for (method, why, detail), sexes in used.items()
    ]


def _detail(rows: pl.DataFrame, sex: str) -> str:
    """How the curves were made and what their band covers, in the words of the release."""
    return methods_named(rows.filter(pl.col("sex") == sex)["method"])


def _method_title(method: str) -> str:
    return TEXT.get(f"curves.method.{method.replace('_', ' ')}", method)
