"""Sites compared, analysers and entry checks: what goes, and how exactly the rest is told."""

import polars as pl
import pytest
from invented_tables import percentile_of, prevalence_of
from test_derived import RULES, people

from pipeline.disclosure import protect

_RATIO = {"ratio": 0.9137, "ratio_low": 0.8111, "ratio_high": 1.0371}


def comparison(topic: str, band: str, n: int, denominator: int, site: str = "site-0") -> pl.DataFrame:
    figures = {
        "n": n, "denominator": denominator, "value": 0.24321, "low": 0.21234, "high": 0.27654, "reference": 0.25123,
        "expected": 263.4, **_RATIO, "funnel_low_95": 0.2222, "funnel_high_95": 0.2888, "funnel_low_998": 0.2111,
        "funnel_high_998": 0.2999, "score": -1.234, "q_value": 0.04567, "shrunken": 0.24789, "shrunken_low": 0.2212,
        "shrunken_high": 0.2734,
    }  # fmt: skip
    key = {"topic": topic, "band": band, "unit": "1", "site": site, "period": "2025Q1", "sex": "all", "age_from": 20,
           "age_to": 49}  # fmt: skip
    return pl.DataFrame(
        [{**key, **figures, "method": "indirect", "flag": None}], schema_overrides={"flag": pl.String}
    )


def compared(counts, rows: pl.DataFrame) -> dict:
    tables = {
        "prevalence": prevalence_of(counts),
        "percentile": percentile_of(counts),
        "site_comparison": rows,
    }
    return protect(tables, RULES)["site_comparison"].row(0, named=True)


def test_shares_are_told_to_a_person_expected_numbers_in_people_and_limits_outward():
    found = compared(people(), comparison("body_fat", "obese", 240, 960))
    assert found["flag"] is None
    assert (found["n"], found["denominator"], found["expected"]) == (240, 960, 263.0)
    assert found["score"] == pytest.approx(-1.2)
    # one of 960 is a step of 0.002; one of 263 of 0.005
    assert (found["value"], found["low"], found["high"]) == pytest.approx((0.244, 0.212, 0.278))
    assert [found[name] for name in _RATIO] == pytest.approx([0.915, 0.81, 1.035])
    assert (found["funnel_low_95"], found["funnel_high_95"]) == pytest.approx((0.222, 0.29))
    assert (found["reference"], found["q_value"]) == pytest.approx((0.251, 0.046))


def test_a_site_whose_crude_count_is_withheld_is_not_compared():
    counts = people()
    counts[0, :, :, 3] = 0
    counts[0, 0, 0, 3] = 4
    found = compared(counts, comparison("body_fat", "obese", 4, 724))
    kept = ("topic", "band", "unit", "site", "period", "sex", "age_from", "age_to", "method")
    assert found.pop("flag") == "withheld"
    assert {name for name, value in found.items() if value is not None} == set(kept)


def test_a_mean_needs_the_people_of_a_percentile_and_keeps_four_digits():
    measure = percentile_of(people())["measure"][0]
    found = compared(people(), comparison(measure, "", 960, 960).with_columns(value=pl.lit(72.3456)))
    assert (found["flag"], found["value"]) == (None, 72.35)


def test_a_site_has_no_row_of_a_measure_of_which_it_has_no_percentile():
    tables = {"percentile": percentile_of(people()), "site_comparison": comparison("height", "", 960, 960)}
    assert protect(tables, RULES)["site_comparison"].is_empty()


@pytest.mark.parametrize(("sites", "flag"), [(2, "withheld"), (3, None)])
def test_spread_between_two_sites_gives_each_away(sites, flag):
    rows = pl.DataFrame(
        [
            {
                "topic": "body_fat", "band": "obese", "unit": "1", "period": "2025Q1", "sex": "all", "age_from": 20,
                "age_to": 49, "sites": sites, "mean": 0.251234, "low": 0.2, "high": 0.3, "between_sd": 0.01234,
                "i_squared": 0.4567, "q": 34.56, "p": 0.01234, "overdispersion": 1.567, "method": "m", "flag": None,
            }
        ],
        schema_overrides={"flag": pl.String},
    )  # fmt: skip
    tables = {
        "prevalence": prevalence_of(people()),
        "percentile": percentile_of(people()),
        "site_heterogeneity": rows,
    }
    found = protect(tables, RULES)["site_heterogeneity"].row(0, named=True)
    assert found["flag"] == flag
    names = ("mean", "between_sd", "i_squared", "q", "p", "overdispersion")
    if flag:
        assert [found[name] for name in names] == [None] * 6
    else:
        assert [found[name] for name in names] == pytest.approx([0.2512, 0.012, 0.46, 35, 0.012, 1.6])


@pytest.mark.parametrize(("n", "flag", "told"), [(9, "withheld", None), (10, None, 10), (47, None, 40)])
def test_an_analyser_needs_ten_people_and_tells_them_in_tens(n, flag, told):
    rows = pl.DataFrame(
        [
            {
                "site": "site-0", "device": "A1", "measure": "weight", "period": "2025Q1", "n": n, "difference": 1.2345,
                "low": 0.9876, "high": 1.4567, "upper_sum": 2.3456, "lower_sum": 0.0, "decision": 1.9,
                "signal": "shift", "method": "m", "flag": None,
            }
        ],
        schema_overrides={"flag": pl.String},
    )  # fmt: skip
    found = protect({"device": rows}, RULES)["device"].row(0, named=True)
    assert (found["flag"], found["n"]) == (flag, told)
    assert (found["signal"], found["difference"]) == (
        (None, None) if flag else ("shift", pytest.approx(1.23))
    )


@pytest.mark.parametrize(
    ("check", "n", "denominator", "flag", "told", "value"),
    [
        ("impossible", 9, 400, "withheld", None, None),
        ("impossible", 0, 9, "withheld", None, None),
        ("impossible", 0, 400, None, 0, 0.0),
        ("impossible", 27, 408, None, 30, 0.05),  # ten of 408 rows: a step of 0.05
        ("terminal_digit_weight", 57, 408, None, 60, 0.066),
    ],
)
def test_entry_checks_tell_rows_in_tens_and_shares_to_as_many(check, n, denominator, flag, told, value):
    rows = pl.DataFrame(
        [
            {
                "site": "site-0", "period": None, "check": check, "n": n, "denominator": denominator,
                "statistic": 12.345, "p": 0.01234, "value": 0.0661 if n else 0.0, "method": "m", "flag": None,
            }
        ],
        schema_overrides={"flag": pl.String, "period": pl.String},
    )  # fmt: skip
    found = protect({"instrument_check": rows}, RULES)["instrument_check"].row(0, named=True)
    assert (found["flag"], found["n"]) == (flag, told)
    assert found["value"] == (None if value is None else pytest.approx(value))
    assert found["statistic"] == (None if flag else 12.0)
