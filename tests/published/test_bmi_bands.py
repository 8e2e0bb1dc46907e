# WHO Technical Report Series 894 (2000): underweight < 18.5 ≤ normal < 25 ≤ overweight < 30 ≤ obesity I < 35 ≤ II
# < 40 ≤ III. WHO Expert Consultation, Lancet 2004;363:157-63: additional action points 23 and 27.5
# (and 32.5, 37.5, not used here).
# What is checked against is exact arithmetic in whole numbers: with weight in tenths of a kilogram and height in
# millimetres, BMI >= e/10 exactly when weight * 10**6 >= e * height**2.

import math
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipeline.store import Store

WHO = {
    "underweight": (0, 185),
    "normal": (185, 250),
    "overweight": (250, 300),
    "obesity_1": (300, 350),
    "obesity_2": (350, 400),
    "obesity_3": (400, 10**6),
}
ASIAN = {
    "underweight": (0, 185),
    "acceptable_risk": (185, 230),
    "increased_risk": (230, 275),
    "high_risk": (275, 10**6),
}


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        yield opened


@pytest.mark.parametrize(("banding", "bands"), [("bmi_adult", WHO), ("bmi_adult_asian", ASIAN)])
def test_every_printable_pair_is_in_the_band_of_exact_arithmetic(store, banding, bands):
    """2 901 weights (10.0 to 300.0 kg) by 1 501 heights (80.0 to 230.0 cm): 4.4 million pairs, none misplaced."""
    found = store.rows(f"""
        select band, count(*), sum(weight * 10000 + height)
        from (
            select weight, height, band_{banding}(bmi_kg_m2(weight / 10, height / 10)) as band
            from (select unnest(range(100, 3001)) as weight) cross join (select unnest(range(800, 2301)) as height)
        )
        group by band order by band""")
    weight, height = np.arange(100, 3001)[:, None], np.arange(800, 2301)[None, :]
    expected = []
    for band, (low, high) in sorted(bands.items()):
        inside = (weight * 10**6 >= low * height**2) & (weight * 10**6 < high * height**2)
        expected.append((band, inside.sum(), ((weight * 10_000 + height) * inside).sum()))
    assert found == expected


def test_every_pair_of_half_pounds_and_quarter_inches_is_in_the_band_of_exact_arithmetic(store):
    """lb and in by their exact factors: BMI >= e/10 exactly when lb * 45359237 * 10**5 >= e * in**2 * 64516 * 10."""
    frame = pl.DataFrame({"half_pounds": np.arange(40, 1321)}).join(
        pl.DataFrame({"quarter_inches": np.arange(126, 363)}), how="cross"
    )
    pounds, inches = (
        frame["half_pounds"].to_numpy().astype(object),
        frame["quarter_inches"].to_numpy().astype(object),
    )
    # (p/2 * 0.45359237) / (q/4 * 0.0254)**2 >= e/10, in whole numbers
    left, right = pounds * 45359237 * 10 * 16, inches**2 * 2 * 64516
    expected = np.full(len(frame), "underweight", dtype=object)
    for band, (low, _) in WHO.items():
        expected[left >= right * low] = band
    with store.lent("imperial", frame):
        found = store.rows("""
            select band_bmi_adult(bmi_kg_m2(half_pounds / 2 * 45359237 / 100000000, quarter_inches / 4 * 254 / 100))
            from imperial order by half_pounds, quarter_inches""")
    assert [band for (band,) in found] == expected.tolist()


@pytest.mark.parametrize(
    ("weight", "height", "band"),
    [
        (64.0, 160.0, "overweight"),  # exactly 25; weight / (height / 100)**2 gives 24.999999999999996
        (81.0, 180.0, "overweight"),
        (53.4, 170.0, "underweight"),
        (53.5, 170.0, "normal"),
    ],
)
def test_worked_examples(store, weight, height, band):
    assert (
        store.value("select band_bmi_adult(bmi_kg_m2($w::double, $h::double))", {"w": weight, "h": height})
        == band
    )


@pytest.mark.parametrize(("banding", "bands"), [("bmi_adult", WHO), ("bmi_adult_asian", ASIAN)])
def test_one_unit_of_the_last_place_decides_at_every_edge(store, banding, bands):
    names = list(bands)
    for below, above in pairwise(names):
        edge = bands[above][0] / 10
        for value, band in (
            (math.nextafter(edge, 0), below),
            (edge, above),
            (math.nextafter(edge, 99), above),
        ):
            assert store.value(f"select band_{banding}($x::double)", {"x": value}) == band


def test_nobody_measured_is_in_no_band(store):
    assert store.rows("select band_bmi_adult(null), band_bmi_adult_asian(null), band_bmi_child(null)") == [
        (None,) * 3
    ]
