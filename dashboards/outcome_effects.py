"""Sites that started against sites that had not, what that says of cause, and how exact readings are."""

from __future__ import annotations

from typing import Any

import polars as pl

from dashboards import outcome_charts, outcome_headlines
from dashboards.cubes import Column, Cube, Dimension, cube
from dashboards.figures import Figure, TableColumn
from dashboards.methods_named import methods_named
from dashboards.numbers import written
from dashboards.release import Release
from dashboards.wording import TEXT, say

SOURCE = "data/group_time_effect.csv"
DECIMALS = 2
MEASURES, SOURCES = (
    ("weight", "body_fat_percent", "fat_mass", "fat_free_mass"),
    ("same_visit", "between_visits", "published"),
)


def effect_figure(release: Release) -> tuple[dict[str, Cube], list[Figure], str]:
    """The effect by time since the start, and the sentence on cause; without such sites the sentence alone."""
    if not release.has("group_time_effect"):
        return {}, [], outcome_headlines.attribution(None, None, DECIMALS)
    rows = release.scan("group_time_effect").collect()
    whole = _cube(rows.rename({"kind": "time"}), Dimension("time", ("overall", "overall_before"), ("", "")))
    overall, before = (_there(whole, kind, rows) for kind in ("overall", "overall_before"))
    sentence = outcome_headlines.attribution(overall, before, DECIMALS)
    events = rows.filter((pl.col("kind") == "event") & pl.col("event_time").is_not_null())
    if events.is_empty():
        return {}, [], sentence
    times = sorted(events["event_time"].unique())
    axis = Dimension("time", tuple(str(time) for time in times), tuple(_time_words(time) for time in times))
    made = _cube(events.with_columns(time=pl.col("event_time").cast(pl.String)), axis)
    none = {"missing": TEXT["no_figure"]}
    columns = (
        TableColumn(TEXT["outcome.column.effect"], "value", ("value",), True, is_marked=True, **none),
        TableColumn(TEXT["column.interval"], "interval", ("low", "high"), True),
        TableColumn(TEXT["outcome.column.treated"], "value", ("n",)),
        TableColumn(TEXT["outcome.column.compared"], "value", ("others",)),
        TableColumn(TEXT["outcome.column.sites"], "value", ("sites",)),
        TableColumn(TEXT["outcome.column.comparison_sites"], "value", ("comparison_sites",)),
    )
    return {"effects": made}, [Figure(
        id="effect",
        question=TEXT["event.question"],
        cube="effects",
        along=("time",),
        spec=outcome_charts.effects_over_time(columns, (("time", TEXT["column.time"]),)),
        columns=columns,
        source=SOURCE,
        extent=("low", "high", "value", "zero"),
        is_from_zero=False,
        is_wide=True,
        is_folded=True,
        none=TEXT["event.none"],
        notes=(TEXT["event.read"], TEXT["event.note"], say("method", method=methods_named(events["method"]))),
        headline=lambda at: sentence,
    )], sentence  # fmt: skip


def _cube(rows: pl.DataFrame, axis: Dimension) -> Cube:
    step = {"steps_per_unit": 10**DECIMALS, "decimals": DECIMALS}
    return cube(
        rows.with_columns(zero=pl.lit(0)),
        [axis],
        {
            **{name: Column(name, **step) for name in ("value", "low", "high")},
            "n": Column("n"),
            "others": Column("comparison_n"),
            "sites": Column("sites"),
            "comparison_sites": Column("comparison_sites"),
            "zero": Column("zero"),
        },
    )


def _there(whole: Cube, kind: str, rows: pl.DataFrame) -> dict[str, Any] | None:
    return whole.cell({"time": kind}) if kind in set(rows["kind"]) else None


def _time_words(time: int) -> str:
    key = f"event.time.{time}"
    if key in TEXT:
        return TEXT[key]
    return say("event.time", n=time) if time > 0 else say("event.time.before", n=-time)


def error_figure(release: Release) -> tuple[Cube, Figure] | None:
    """What one reading can tell: errors of measurement; None where the release has none."""
    if not release.has("measurement_error"):
        return None
    rows = (
        release.scan("measurement_error")
        .with_columns(
            error_of=pl.col("measure") + pl.lit("|") + pl.col("source"),
            used=(pl.col("is_used") == "yes").cast(pl.Int64),
        )
        .rename({"error": "one_reading"})
        .rename({"error_of": "error"})
        .collect()
    )
    there = set(rows["error"])
    keys = tuple(f"{m}|{s}" for m in MEASURES for s in SOURCES if f"{m}|{s}" in there)
    labels = tuple(
        say(f"source.{key.partition('|')[2]}", measure=TEXT[f"measure.{key.partition('|')[0]}"])
        for key in keys
    )
    made = cube(
        rows,
        [Dimension("error", keys, labels)],
        {
            "one": Column("one_reading", 100, 2),
            "detectable": Column("smallest_detectable_change", 100, 2),
            "reliability": Column("reliability", 1000, 3),
            "n": Column("n"),
            "used": Column("used"),
        },
    )
    none = {"missing": TEXT["no_figure"]}
    unit = {"weight": "kg", "body_fat_percent": "%", "fat_mass": "kg", "fat_free_mass": "kg"}
    columns = (
        TableColumn(TEXT["outcome.column.error"], "value", ("one",), **none),
        TableColumn(TEXT["outcome.column.detectable"], "value", ("detectable",), **none),
        TableColumn(TEXT["outcome.column.reliability"], "value", ("reliability",), **none),
        TableColumn(TEXT["outcome.column.compared_readings"], "value", ("n",), **none),
        TableColumn(
            TEXT["outcome.column.used"], "word", ("used",), words=(TEXT["used.no"], TEXT["used.yes"])
        ),
    )
    labelled = tuple(
        f"{label} ({unit[key.partition('|')[0]]})" for key, label in zip(keys, labels, strict=True)
    )
    made = Cube((Dimension("error", keys, labelled),), made.columns, made.decimals, made.states)
    return made, Figure(
        id="error",
        question=TEXT["error.question"],
        cube="error",
        along=("error",),
        spec=None,
        columns=columns,
        source="data/measurement_error.csv",
        is_folded=True,
        is_wide=True,
        notes=(TEXT["error.read"], say("method", method=methods_named(rows["method"]))),
        headline=lambda at: _error_sentence(made, keys),
    )


def _error_sentence(made: Cube, keys: tuple[str, ...]) -> str:
    for key in keys:
        cell = made.cell({"error": key})
        if key.startswith("weight|") and cell["used"] and cell["detectable"] is not None:
            return say("o.error", weight=written(cell["detectable"], 2))
    return TEXT["o.error.none"]
