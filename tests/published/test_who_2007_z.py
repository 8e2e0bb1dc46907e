# WHO Reference 2007: de Onis et al., Bull World Health Organ 2007;85:660-7. Table, formula and the adjustment of
# weight-based indicators beyond ±3 SD: see pipeline/reference/README.md. The z-scores and SD lines below were
# computed from the table apart from this code; the 19-year anchors (+1 SD 25.4 boys, 25.0 girls, +2 SD 29.7 both)
# stand in the paper's abstract. The flag of z outside ±5 is from memory.

import math

import polars as pl
import pytest

from pipeline.readings import load_reference
from pipeline.statistics.who_reference import adjusted_z, month_of, value_at_adjusted_z
from pipeline.store import Store

SD_LINES = {
    ("male", 61): (12.1176, 13.0308, 14.0708, 15.2641, 16.6451, 18.2589, 20.1656),
    ("male", 120): (12.7751, 13.7353, 14.9233, 16.4433, 18.4798, 21.3999, 26.0732),
    ("male", 228): (15.8551, 17.5544, 19.6223, 22.1883, 25.4486, 29.7156, 35.5163),
    ("female", 61): (11.7701, 12.7477, 13.8907, 15.2441, 16.8701, 18.8579, 21.3397),
    ("female", 120): (12.3775, 13.4697, 14.8379, 16.6133, 19.0320, 22.5705, 28.3779),
    ("female", 228): (14.7241, 16.4974, 18.6815, 21.4269, 24.9653, 29.6699, 36.1793),
}


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        load_reference(opened)
        yield opened


def z_of(store, sex, month, bmi):
    return store.value(
        "select who_z($bmi::double, l, m, s) from reference.who_bmi_for_age "
        "where sex = $sex and month = $month",
        {"bmi": bmi, "sex": sex, "month": month},
    )


def test_the_table_has_every_month_from_61_to_228_of_both_sexes(store):
    assert store.rows(
        "select sex, count(*), count(distinct month), min(month), max(month) "
        "from reference.who_bmi_for_age group by sex order by sex"
    ) == [("female", 168, 168, 61, 228), ("male", 168, 168, 61, 228)]


@pytest.mark.parametrize(
    ("sex", "month", "bmi", "z"),
    [
        ("male", 61, 14.0, -1.063959),
        ("male", 120, 20.0, 1.570429),
        ("male", 120, 30.0, 3.840282),
        ("male", 120, 12.0, -3.807131),
        ("female", 120, 20.0, 1.317503),
        ("female", 228, 30.0, 2.059787),
        ("female", 228, 13.0, -3.972195),
    ],
)
def test_z_scores_with_the_adjustment_beyond_three(store, sex, month, bmi, z):
    assert z_of(store, sex, month, bmi) == pytest.approx(z, abs=5e-7)


@pytest.mark.parametrize("place", SD_LINES)
def test_the_sd_lines(store, place):
    sex, month = place
    found = [
        store.value(
            "select who_bmi_at($z::double, l, m, s) from reference.who_bmi_for_age "
            "where sex = $sex and month = $month",
            {"z": z, "sex": sex, "month": month},
        )
        for z in range(-3, 4)
    ]
    assert found == pytest.approx(SD_LINES[place], abs=5e-5)


def test_the_anchors_of_the_abstract_at_19_years(store):
    at = {
        (sex, z): store.value(
            "select round(who_bmi_at($z::double, l, m, s), 1) from reference.who_bmi_for_age "
            "where sex = $sex and month = 228",
            {"z": z, "sex": sex},
        )
        for sex in ("male", "female")
        for z in (1, 2)
    }
    assert at == {("male", 1): 25.4, ("female", 1): 25.0, ("male", 2): 29.7, ("female", 2): 29.7}


def test_the_adjustment_changes_no_band_anywhere(store):
    """Every month, both sexes, every BMI from 8.0 to 60.0 by 0.1: the band by raw z and by adjusted z."""
    assert (
        store.rows("""
        select sex, month, bmi
        from reference.who_bmi_for_age cross join (select unnest(range(80, 601)) / 10 as bmi)
        where band_bmi_child(who_z(bmi, l, m, s)) is distinct from band_bmi_child(who_raw_z(bmi, l, m, s))
        order by all limit 5""")
        == []
    )


@pytest.mark.parametrize(
    ("edge", "below", "at", "above"),
    [
        (-3, "severe_thinness", "thinness", "thinness"),
        (-2, "thinness", "normal", "normal"),
        (1, "normal", "normal", "overweight"),
        (2, "overweight", "overweight", "obesity"),
    ],
)
def test_edges_belong_below_on_the_thin_side_and_within_on_the_heavy_side(store, edge, below, at, above):
    values = (math.nextafter(edge, -9), edge, math.nextafter(edge, 9))
    assert [store.value("select band_bmi_child($z::double)", {"z": z}) for z in values] == [below, at, above]


@pytest.mark.parametrize(
    ("age", "months", "month"),
    [(5, None, 66), (18, None, 222), (19, None, 228), (19, 239, 228), (10, 120, 120), (10, 131, 131)],
)
def test_whole_years_are_taken_at_mid_year_and_19_at_the_tables_end(store, age, months, month):
    assert (
        store.value("select who_month($age::smallint, $months::smallint)", {"age": age, "months": months})
        == month
    )


def test_the_row_checks_bounds_are_z_of_minus_and_plus_five_at_mid_year(store):
    """The constants of child_bmi_low and child_bmi_high against the table: SD3 and two more steps of SD3 − SD2."""
    table = store.frame("""
        select sex, age, who.month, child_bmi_low(sex, age) as low, child_bmi_high(sex, age) as high, l, m, s
        from (select unnest(range(5, 20))::smallint as age) join reference.who_bmi_for_age as who
            on who.month = who_month(age, null::smallint)
        order by sex, age""")
    assert table.height == 30

    def line(k):
        return pl.col("m") * (1 + pl.col("l") * pl.col("s") * k) ** (1 / pl.col("l"))

    expected = table.select(
        low=(line(-3) - 2 * (line(-2) - line(-3))).round(1), high=(line(3) + 2 * (line(3) - line(2))).round(1)
    )
    for column in ("low", "high"):
        assert table[column].to_list() == pytest.approx(expected[column].to_list(), abs=1e-9)


# The function for one value is the macro for all readings, both directions, beyond ±3 too.
def test_the_python_function_is_the_macro(store):
    rows = store.rows("select sex, month, l, m, s from reference.who_bmi_for_age where month % 24 = 12 order by all")
    for sex, month, l, m, s in rows:
        for bmi in (9.5, 13.0, 17.5, 21.0, 30.0, 41.0):
            z = z_of(store, sex, month, bmi)
            assert adjusted_z(bmi, l, m, s) == pytest.approx(z, rel=1e-12, abs=1e-12)
            assert value_at_adjusted_z(z, l, m, s) == pytest.approx(bmi, rel=1e-12)


# As in the first list above: de Onis et al. (2007), the adjusted figures of the project's methods.
def test_the_python_function_has_the_adjusted_figures():
    male_120 = (-1.7407, 16.4433, 0.10566)
    assert adjusted_z([20.0, 30.0, 12.0], *male_120) == pytest.approx(
        [1.570429, 3.840282, -3.807131], abs=5e-7
    )


@pytest.mark.parametrize(("age", "month"), [(5, 66), (18, 222), (19, 228)])
def test_the_python_function_takes_whole_years_as_the_macro_does(store, age, month):
    assert month_of(age) == month == store.value("select who_month($age, null::integer)", {"age": age})
