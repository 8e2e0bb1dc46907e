"""The tables of issue 3 with invented figures: standardised shares, trends, curves, sites compared, instruments.

They lean on the invented prevalence and people of invented_release, so that figures of one group agree; nothing is
computed as the pipeline computes it. Mechanics only.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline import measures

CURVE_PERCENTS = (3, 10, 25, 50, 75, 90, 97)
CURVE_Z = (-1.881, -1.282, -0.674, 0.0, 0.674, 1.282, 1.881)
WHY_NO_CURVE = "642 people are too few: a curve needs 1,000 of one sex over at least 15 years of age"
WHY_REGRESSION = "the two methods differ by more than the tolerance at the 97th percentile"
WHO_CENTILES = (3, 15, 50, 85, 97)
DIGITS = ("terminal_digit_weight", "terminal_digit_height", "duplicated", "impossible", "athlete_mode")
STANDARD_TEXT = (
    "direct standardisation to the chosen standard, both sexes alike; Fay-Feuer gamma interval, 95 %"
)
Tables = dict[str, pl.DataFrame]


def comparison_tables(
    rng: np.random.Generator,
    prevalence: pl.DataFrame,
    centres: dict[str, tuple[float, float]],
    ids: list[str],
) -> Tables:
    """Every table of issue 3. `prevalence` is the unsuppressed frame with `hidden` beside its figures."""
    periods = sorted(prevalence["period"].unique())
    totals = prevalence.filter(
        (pl.col("age_from") == 20) & (pl.col("age_to") == 99)
        | (pl.col("banding") == "bmi_child") & (pl.col("age_from") == 5) & (pl.col("age_to") == 19)
    )
    comparison = _site_comparison(rng, totals, centres, ids, periods[-4:])
    tables = {
        "standardised_prevalence": _standardised(rng, totals),
        "trend": _trend(totals, periods),
        "curve": _curve(centres),
        "percentile_curve": _percentile_curve(rng, centres),
        "who_position": _who_position(rng, totals),
        "site_comparison": comparison,
        "site_heterogeneity": _heterogeneity(rng, comparison),
        "device": _device(rng, ids, periods),
        "instrument_check": _instrument_check(rng, totals, ids),
    }
    return {name: _withheld(frame) for name, frame in tables.items()}


def _withheld(frame: pl.DataFrame) -> pl.DataFrame:
    """Empty every number of the rows that `hidden` marks and flag them; keys stay."""
    keys = {
        "age_from",
        "age_to",
        "age",
        "percentile",
        "periods",
        "expected" if "ratio" not in frame.columns else "",
    }
    figures = [c for c, kind in frame.schema.items() if kind.is_numeric() and c not in keys]
    return frame.with_columns(
        *(pl.when("hidden").then(None).otherwise(pl.col(c)).alias(c) for c in figures),
        pl.when("hidden").then(pl.lit("withheld")).otherwise("flag").alias("flag"),
    ).drop("hidden")


def _no_flag() -> pl.Expr:
    return pl.lit(None, dtype=pl.String).alias("flag")


def _standardised(rng: np.random.Generator, totals: pl.DataFrame) -> pl.DataFrame:
    moved = totals["proportion"].to_numpy() * rng.uniform(0.93, 1.12, totals.height)
    half = (totals["high"] - totals["low"]).to_numpy() / 2 * 1.1
    return totals.select(
        "banding", "band", "population", "site", "period", "sex", "age_from", "age_to",
        pl.lit("who-world").alias("standard"), "n", "denominator",
        pl.Series("proportion", np.clip(moved, 0, 1)), pl.Series("low", np.clip(moved - half, 0, 1)),
        pl.Series("high", np.clip(moved + half, 0, 1)), pl.lit(STANDARD_TEXT).alias("method"), "flag", "hidden",
    )  # fmt: skip


def _trend(totals: pl.DataFrame, periods: list[str]) -> pl.DataFrame:
    keys = ("banding", "band", "sex", "age_from", "age_to")
    frame = totals.filter(pl.col("site").is_null()).group_by(keys, maintain_order=True).agg(
        pl.col("n").sum(), pl.col("denominator").sum(), pl.col("hidden").any(),
        (pl.col("proportion").last() / pl.col("proportion").first()).alias("growth"),
        (pl.col("proportion").last() - pl.col("proportion").first()).alias("change"),
    )  # fmt: skip
    gaps = max(1, len(periods) - 1)
    rate = pl.col("growth").log() / gaps
    half = 1.96 * 0.9 / pl.col("n").cast(pl.Float64).sqrt()
    return frame.select(
        *keys, pl.lit(periods[0]).alias("period_from"), pl.lit(periods[-1]).alias("period_to"),
        pl.lit(len(periods)).alias("periods"), "n", "denominator", rate.exp().alias("odds_ratio"),
        (rate - half).exp().alias("low"), (rate + half).exp().alias("high"),
        (pl.col("change") / gaps).alias("points_a_period"),
        (-2.2 * (rate / half).abs()).exp().alias("p"),
        pl.lit("logistic trend, sites jackknifed").alias("method"), _no_flag(),
        (pl.col("hidden") | pl.col("growth").is_nan() | (pl.col("n") < 10)).alias("hidden"),
    )  # fmt: skip


def _how_curve(measure: str, sex: str) -> tuple[str, str]:
    if measure == "basal_metabolic_rate":
        return "none", WHY_NO_CURVE
    if measure == "visceral_fat_level" and sex == "male":
        return "none", WHY_NO_CURVE
    return ("regression quantile", WHY_REGRESSION) if measure == "fat_mass" else ("lms", "")


def _curve(centres: dict[str, tuple[float, float]]) -> pl.DataFrame:
    rows = []
    for name in centres:
        measure = measures.MEASURES[name]
        for sex in ("female", "male"):
            method, why = _how_curve(name, sex)
            people = 642 if method == "none" else 14210
            rows.append(
                (name, measure.unit, sex, people, measure.age_from, min(measure.age_to, 94), method, why)
            )
    columns = ("measure", "unit", "sex", "n", "age_from", "age_to", "method", "why")
    return pl.DataFrame(rows, orient="row", schema=columns).with_columns(_no_flag(), hidden=pl.lit(False))


def _percentile_curve(rng: np.random.Generator, centres: dict[str, tuple[float, float]]) -> pl.DataFrame:
    frames = []
    for name, (mean, spread) in centres.items():
        measure = measures.MEASURES[name]
        for sex in ("female", "male"):
            if _how_curve(name, sex)[0] == "none":
                continue
            age = np.arange(measure.age_from, min(measure.age_to, 94) + 1)
            grown = (age - 18) / 13 if name in ("weight", "height") else np.zeros(age.size)
            level = np.minimum(grown, 0) + 0.5 * np.sin((age - 20) / 26) + (0.7 if sex == "male" else 0)
            for p, z in zip(CURVE_PERCENTS, CURVE_Z, strict=True):
                value = mean + spread * (level + z * (1 + 0.1 * np.sign(z)))
                half = spread * (0.03 + 0.0006 * np.abs(age - 45) ** 1.35) * rng.uniform(0.98, 1.02)
                has_band = name != "fat_mass"
                frames.append(pl.DataFrame({
                    "measure": name, "unit": measure.unit, "sex": sex, "age": age, "percentile": p, "value": value,
                    "low": value - half if has_band else None, "high": value + half if has_band else None,
                    "n": 14210, "method": "splines of age; " + ("sites as clusters" if has_band else "no band"),
                    "hidden": (age > 85) & (p in (3, 97))},
                    schema_overrides={"low": pl.Float64, "high": pl.Float64}))  # fmt: skip
    return pl.concat(frames).with_columns(_no_flag())


def _who_position(rng: np.random.Generator, totals: pl.DataFrame) -> pl.DataFrame:
    children = totals.filter((pl.col("banding") == "bmi_child") & pl.col("site").is_null())
    people = children.group_by("period", "sex", maintain_order=True).agg(pl.col("denominator").first())
    rows = []
    for period, sex, n in people.iter_rows():
        for p in WHO_CENTILES:
            share = p / 100 * (0.86 if p < 90 else 0.955) * rng.uniform(0.98, 1.02)
            half = 2.4 * np.sqrt(share * (1 - share) / n)
            low, high = max(0, share - half), min(1, share + half)
            rows.append((period, sex, 5, 19, p, round(share * n), n, share, low, high, p / 100,
                         "Korn-Graubard, sites as clusters", share * n < 10))  # fmt: skip
    columns = ("period", "sex", "age_from", "age_to", "percentile", "n", "denominator", "proportion", "low", "high",
               "expected", "method", "hidden")  # fmt: skip
    return pl.DataFrame(rows, orient="row", schema=columns).with_columns(_no_flag())


COMPARED = ("value", "low", "high", "reference", "expected", "ratio", "ratio_low", "ratio_high", "funnel_low_95",
            "funnel_high_95", "funnel_low_998", "funnel_high_998", "score", "q_value", "shrunken", "shrunken_low",
            "shrunken_high")  # fmt: skip


def _compared(value: float, reference: float, error: float, spread: float, people: int) -> tuple[float, ...]:
    """One site's figures in the order of COMPARED, all from its value, the reference and its standard error."""
    pull = spread**2 / (spread**2 + error**2)
    shrunken, half = reference + pull * (value - reference), 1.96 * error * np.sqrt(pull)
    score, limit = (value - reference) / error, np.hypot(error, spread / 2)
    return (
        value, value - 1.96 * error, value + 1.96 * error, reference, reference * people, value / reference,
        (value - 1.96 * error) / reference, (value + 1.96 * error) / reference, reference - 1.96 * limit,
        reference + 1.96 * limit, reference - 3.09 * limit, reference + 3.09 * limit, score,
        min(1.0, 2.4 * float(np.exp(-(score**2) / 2))), shrunken, shrunken - half, shrunken + half,
    )  # fmt: skip


def _site_comparison(
    rng: np.random.Generator, totals: pl.DataFrame, centres: dict[str, tuple[float, float]], ids: list[str],
    periods: list[str],
) -> pl.DataFrame:  # fmt: skip
    rows = []
    wanted = totals.filter(pl.col("period").is_in(periods) & (pl.col("sex") == "all"))
    overall = {
        (r["banding"], r["band"], r["period"]): r["proportion"]
        for r in wanted.filter(pl.col("site").is_null()).iter_rows(named=True)
    }
    people = {}
    for r in wanted.filter(pl.col("site").is_not_null()).iter_rows(named=True):
        key, n = (r["banding"], r["band"], r["period"]), r["denominator"]
        reference = max(overall[key], 0.001)
        if r["banding"] == "bmi_adult":
            people[r["site"], r["period"]] = n
        error = np.sqrt(reference * (1 - reference) / n)
        value = min(1.0, max(0.0, r["proportion"] * rng.uniform(0.96, 1.04)))
        rows.append((*key[:2], "1", r["site"], r["period"], "all", r["age_from"], r["age_to"], r["n"], n,
                     *np.clip(_compared(value, reference, error, 0.02, n), -9, 9 * n), r["hidden"]))  # fmt: skip
    for name, (mean, spread) in centres.items():
        unit = measures.MEASURES[name].unit
        for (site, period), n in people.items() if name != "bmi_z" else ():
            error = spread / np.sqrt(n)
            value = mean + rng.normal(0, 0.06 * spread) + rng.normal(0, error)
            rows.append((name, "", unit, site, period, "all", 20, 99, n, n,
                         *_compared(value, mean, error, 0.06 * spread, n), n < 30))  # fmt: skip
    columns = ("topic", "band", "unit", "site", "period", "sex", "age_from", "age_to", "n", "denominator", *COMPARED,
               "hidden")  # fmt: skip
    frame = pl.DataFrame(rows, orient="row", schema=columns, infer_schema_length=None)
    share = pl.col("band") != ""
    cut = [
        c for c in COMPARED if c not in ("expected", "ratio", "ratio_low", "ratio_high", "score", "q_value")
    ]
    return frame.with_columns(
        *(pl.when(share).then(pl.col(c).clip(0, 1)).otherwise(pl.col(c)).alias(c) for c in cut),
        pl.lit("directly standardised; exact limits").alias("method"), _no_flag(),
    )  # fmt: skip


def _heterogeneity(rng: np.random.Generator, comparison: pl.DataFrame) -> pl.DataFrame:
    keys = ("topic", "band", "unit", "period", "sex", "age_from", "age_to")
    frame = comparison.filter(~pl.col("hidden")).group_by(keys, maintain_order=True).agg(
        pl.len().alias("sites"), pl.col("reference").first().alias("mean"), pl.col("value").std().alias("spread")
    )  # fmt: skip
    q = rng.uniform(0.7, 5.0, frame.height) * frame["sites"].to_numpy()
    i_squared = np.clip(1 - (frame["sites"].to_numpy() - 1) / q, 0, 1)
    return frame.select(
        *keys, "sites", "mean", (pl.col("mean") - pl.col("spread")).alias("low"),
        (pl.col("mean") + pl.col("spread")).alias("high"),
        pl.Series("between_sd", np.sqrt(i_squared) * frame["spread"].fill_null(0).to_numpy()),
        pl.Series("i_squared", i_squared), pl.Series("q", q), pl.Series("p", np.exp(-q / 12)),
        pl.Series("overdispersion", np.maximum(1, q / np.maximum(1, frame["sites"].to_numpy() - 1))),
        pl.lit("DerSimonian-Laird").alias("method"), _no_flag(), (pl.col("sites") < 3).alias("hidden"),
    )  # fmt: skip


def _device(rng: np.random.Generator, ids: list[str], periods: list[str]) -> pl.DataFrame:
    """Two analysers a site; the second of the first site has a shift, the first of the second drifts."""
    rows = []
    for s, site in enumerate(ids):
        for device in ("A1", "B2"):
            upper = lower = 0.0
            for t, period in enumerate(periods):
                is_shift, is_drift = (s, device) == (0, "B2"), (s, device) == (1, "A1")
                truth = 1.0 * (is_shift and t >= 1) + 0.35 * t * is_drift
                value, error = truth + rng.normal(0, 0.12), 0.13 if is_shift else 0.18
                upper, lower = max(0.0, upper + value / error - 0.5), max(0.0, lower - value / error - 0.5)
                is_alarm = upper > 4.8 or lower > 4.8
                signal = (
                    ("clothing weight" if is_shift else "drift" if is_drift else "shift") if is_alarm else ""
                )
                rows.append((site, device, "weight", period, int(rng.poisson(60)), value, value - 1.96 * error,
                             value + 1.96 * error, upper, lower, 4.8, signal, s == 2 and t == 0))  # fmt: skip
    columns = ("site", "device", "measure", "period", "n", "difference", "low", "high", "upper_sum", "lower_sum",
               "decision", "signal", "hidden")  # fmt: skip
    return pl.DataFrame(rows, orient="row", schema=columns).with_columns(
        pl.lit("Shiryaev–Roberts chart: a false signal in 300 months at least").alias("method"), _no_flag()
    )


def _instrument_check(rng: np.random.Generator, totals: pl.DataFrame, ids: list[str]) -> pl.DataFrame:
    rows = []
    for s, site in enumerate(ids):
        people = 300 + 40 * (s % 12)
        for check in DIGITS:
            is_digit = check.startswith("terminal")
            is_rounded = is_digit and s % 5 == 1
            statistic = float(rng.chisquare(9)) + 160 * is_rounded if is_digit else None
            value = 0.28 if is_rounded else float(rng.uniform(0.01, 0.05))
            p = float(np.exp(-statistic / 5)) if is_digit else None
            rows.append((site, None, check, people if is_digit else round(value * people), people, statistic, p, value,
                         "chi-square of the last digit, 9 degrees of freedom" if is_digit else "share of readings",
                         not is_digit and value * people < 4))  # fmt: skip
    schema = {"site": pl.String, "period": pl.String, "check": pl.String, "n": pl.Int64, "denominator": pl.Int64,
              "statistic": pl.Float64, "p": pl.Float64, "value": pl.Float64, "method": pl.String,
              "hidden": pl.Boolean}  # fmt: skip
    return pl.DataFrame(rows, orient="row", schema=schema).with_columns(_no_flag())
