"""tally.band_of_ages and tally.moment → result.site_comparison, result.site_heterogeneity."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import polars as pl

from pipeline import measures
from pipeline.programme import Ages, Programme
from pipeline.results.by_period import band_tally, periods_with_people
from pipeline.results.plain_number import without_nan
from pipeline.results.prevalence import reported_bandings
from pipeline.statistics.age_group import SEXES, ages_reported
from pipeline.statistics.reliability import LEAST_PEOPLE, flag, nchs_reliability
from pipeline.statistics.site_comparison import Comparison, compare_means, compare_proportions
from pipeline.store import Store

LATEST_PERIODS = 4
_TABLES = ("result.site_comparison", "result.site_heterogeneity")
_ORDER = (("topic", "band", "site"), ("topic", "band"))
_ADULT = 18

Key = tuple[str, str, str, str, int, int]  # topic, band, unit, period, first and last age

_METHODS = {
    "proportion": "indirectly standardised by sex and age group to all sites together; Wilson interval; {funnel}; "
    "Benjamini–Hochberg over sites; shrunken: Morris (1983)",
    "mean": "standardised by sex and age group to the other sites; normal interval; {funnel}; Benjamini–Hochberg over "
    "sites; shrunken: Morris (1983)",
}
_FUNNELS = {
    ("proportion", False): "exact binomial funnel",
    ("proportion", True): "normal funnel with the variance between sites (Spiegelhalter 2005)",
    ("mean", False): "normal funnel",
    ("mean", True): "normal funnel with the variance between sites (Spiegelhalter 2005)",
}
_HETEROGENEITY = (
    "DerSimonian–Laird over the standardised values, interval by Hartung and Knapp; overdispersion: mean square of "
    "scores winsorised at 15 %, over what that leaves of a normal distribution"
)


def build_site_comparison(store: Store, programme: Programme, periods: Sequence[str] | None = None) -> None:
    """Rewrite both tables for the latest periods, in the caller's transaction.

    periods: those whose tallies changed; the others of the latest stay as they are. None for all.
    """
    latest = periods_with_people(store)[-LATEST_PERIODS:]
    there = [period for (period,) in store.rows("select distinct period from result.site_heterogeneity")]
    kept = [] if periods is None else [p for p in latest if p in there and p not in periods]
    for table in _TABLES:
        store.execute(f"delete from {table} where not list_contains($kept, period)", {"kept": kept})
    for period in latest:
        if period not in kept:
            _build_period(store, programme, period)


def _build_period(store: Store, programme: Programme, period: str) -> None:
    found = [*_bands(store, programme, period), *_measures(store, programme.settings.ages, period)]
    if found:
        for table, parts, key in zip(_TABLES, zip(*found, strict=True), _ORDER, strict=True):
            store.append_rows(table, without_nan(pl.concat(parts)).sort(key))


def ages_compared(ages: Ages, lowest: int, highest: int) -> tuple[int, int] | None:
    """The one age group in which sites are compared: adults where the figure has adults, otherwise children.

    Missing  None where the settings have no total that fits.
    """
    fitting = [total for total in ages_reported(ages.totals, lowest, highest) if total[0] >= lowest]
    adult = [total for total in fitting if total[0] >= _ADULT]
    return next(iter(adult or fitting), None)


def _bands(
    store: Store, programme: Programme, period: str
) -> Iterator[tuple[pl.DataFrame, pl.DataFrame]]:
    settings = programme.settings
    tally = band_tally(store, period)
    for banding in reported_bandings(settings):
        ages = ages_compared(settings.ages, banding.age_from, banding.age_to)
        if ages is None:
            continue
        strata = _strata(settings.ages, ages)
        of_banding = (
            tally.filter(pl.col("banding") == banding.name)
            .join(_single_years(strata), on="age")
            .group_by("site", "sex", "stratum", "band")
            .agg(pl.col("n").sum())
        )
        if of_banding.is_empty():
            continue
        names = of_banding["site"].unique().sort().to_list()
        people = _matrix(of_banding, names, len(strata), "n")
        for band in banding.bands:
            count = _matrix(of_banding.filter(pl.col("band") == band.name), names, len(strata), "n")
            key = (banding.name, band.name, "1", period, *ages)
            yield _rows(key, names, compare_proportions(count, people), "proportion", count, people)


def _measures(store: Store, ages: Ages, period: str) -> Iterator[tuple[pl.DataFrame, pl.DataFrame]]:
    tally = store.frame(
        "select site, sex, age_from, age_to, measure, n, sum::double as sum, "
        "sum_of_squares::double as sum_of_squares from tally.moment where period = $period order by all",
        {"period": period},
    )
    for measure in measures.MEASURES.values():
        group = ages_compared(ages, measure.age_from, measure.age_to)
        if group is None:
            continue
        strata = pl.DataFrame(
            [(*ends, i) for i, ends in enumerate(_strata(ages, group))],
            schema={"age_from": pl.Int16, "age_to": pl.Int16, "stratum": pl.Int64},
            orient="row",
        )
        part = tally.filter(pl.col("measure") == measure.name).join(strata, on=["age_from", "age_to"])
        if part.is_empty():
            continue
        names = part["site"].unique().sort().to_list()
        n, total, squares = (
            _matrix(part, names, strata.height, column) for column in ("n", "sum", "sum_of_squares")
        )
        steps = measure.steps_per_unit
        key = (measure.name, "", measure.unit, period, *group)
        yield _rows(key, names, compare_means(n, total / steps, squares / steps**2), "mean", n, n)


def _strata(ages: Ages, group: tuple[int, int]) -> list[tuple[int, int]]:
    return [ends for ends in sorted(ages.groups) if group[0] <= ends[0] and ends[1] <= group[1]]


def _single_years(strata: list[tuple[int, int]]) -> pl.DataFrame:
    years = [(age, i) for i, (low, high) in enumerate(strata) for age in range(low, high + 1)]
    return pl.DataFrame(years, schema={"age": pl.Int16, "stratum": pl.Int64}, orient="row")


def _matrix(part: pl.DataFrame, sites: list[str], strata: int, column: str) -> np.ndarray:
    """(sites, sexes × strata) sums of a column; whole numbers, so that their order does not matter."""
    found = np.zeros((len(sites), len(SEXES) * strata))
    site = part["site"].cast(pl.Enum(sites)).to_physical().to_numpy()
    sex = part["sex"].cast(pl.Enum(SEXES)).to_physical().to_numpy().astype(np.int64)
    np.add.at(found, (site, sex * strata + part["stratum"].to_numpy()), part[column].to_numpy())
    return found


def _rows(
    key: Key, sites: list[str], found: Comparison, kind: str, count: np.ndarray, people: np.ndarray
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """A row a site, and a row on all of them."""
    return _of_sites(key, sites, found, kind, count, people), _between_sites(key, found)


def _of_sites(
    key: Key, sites: list[str], found: Comparison, kind: str, count: np.ndarray, people: np.ndarray
) -> pl.DataFrame:
    head, place = _head_and_place(key)
    observed, n = count.sum(axis=1), people.sum(axis=1)
    method = _METHODS[kind].format(funnel=_FUNNELS[kind, found.is_widened])
    if kind == "proportion":
        unreliable = flag(nchs_reliability(observed, n, n, found.low, found.high, np.inf)[0])
    else:
        unreliable = np.where(n < LEAST_PEOPLE, "unreliable", "")
    funnel = ("funnel_low_998", "funnel_low_95", "funnel_high_95", "funnel_high_998")
    figures = ("value", "low", "high", "reference", "expected", "ratio", "ratio_low", "ratio_high")
    final = ("score", "q_value", "shrunken", "shrunken_low", "shrunken_high")
    return pl.DataFrame(
        head
        | {"site": sites}
        | place
        | {"n": observed.astype(np.int64), "denominator": n.astype(np.int64)}
        | {name: getattr(found, name) for name in figures}
        | {name: found.funnel[:, i] for i, name in enumerate(funnel)}
        | {name: getattr(found, name) for name in final}
        | {"method": method, "flag": unreliable},
        schema_overrides={"age_from": pl.Int16, "age_to": pl.Int16},
    ).with_columns(flag=pl.when(pl.col("flag") != "").then("flag"))


def _between_sites(key: Key, found: Comparison) -> pl.DataFrame:
    head, place = _head_and_place(key)
    between = found.heterogeneity
    return pl.DataFrame(
        head
        | place
        | {
            "sites": int(np.isfinite(found.score).sum()),
            "mean": between.mean if between else np.nan,
            "low": between.low if between else np.nan,
            "high": between.high if between else np.nan,
            "between_sd": np.sqrt(between.between_variance) if between else np.nan,
            "i_squared": between.i_squared if between else np.nan,
            "q": between.q if between else np.nan,
            "p": between.p if between else np.nan,
            "overdispersion": found.dispersion,
            "method": _HETEROGENEITY,
            "flag": None,
        },
        schema_overrides={"age_from": pl.Int16, "age_to": pl.Int16, "flag": pl.String},
    )


def _head_and_place(key: Key) -> tuple[dict[str, str], dict[str, str | int]]:
    topic, band, unit, period, age_from, age_to = key
    head = {"topic": topic, "band": band, "unit": unit}
    return head, {"period": period, "sex": "all", "age_from": age_from, "age_to": age_to}
