# Gallagher et al., Am J Clin Nutr 2000;72:694-701: percent body fat that corresponds to BMI 18.5, 25 and 30, by sex and
# age; lower ends belong to the range. Table seen on several pages. The regression behind it is from memory:
#   %fat = 64.5 − 848/BMI + 0.079·age − 16.4·man + 0.05·man·age + 39.0·man/BMI
# and gives all 18 entries at ages 30, 50 and 70, rounded.

import math

import pytest

from pipeline.store import Store

EDGES = {  # sex, first age of the group: under <, over >=, obese >=
    ("female", 20): (21, 33, 39),
    ("female", 40): (23, 35, 40),
    ("female", 60): (24, 36, 42),
    ("male", 20): (8, 20, 25),
    ("male", 40): (11, 22, 28),
    ("male", 60): (13, 25, 30),
}
NAMES = ("under", "healthy", "over", "obese")


@pytest.fixture(scope="module")
def store():
    with Store.open(None) as opened:
        yield opened


def band(store, sex, age, percent):
    return store.value(
        "select band_body_fat($sex, $age::smallint, $percent::double)",
        {"sex": sex, "age": age, "percent": percent},
    )


@pytest.mark.parametrize("group", EDGES, ids=str)
def test_every_tenth_of_a_percent_is_in_its_range_at_both_ends_of_the_age_group(store, group):
    sex, first = group
    for age in (first, first + 19):
        found = store.rows(
            "select band_body_fat($sex, $age::smallint, tenths / 10) from "
            "(select unnest(range(10, 751)) as tenths) order by tenths",
            {"sex": sex, "age": age},
        )
        expected = [NAMES[sum(tenths >= 10 * edge for edge in EDGES[group])] for tenths in range(10, 751)]
        assert [name for (name,) in found] == expected


@pytest.mark.parametrize("group", EDGES, ids=str)
def test_one_unit_of_the_last_place_decides_at_every_edge(store, group):
    for below, above, edge in zip(NAMES, NAMES[1:], EDGES[group], strict=False):
        assert [band(store, *group, value) for value in (math.nextafter(edge, 0), edge)] == [below, above]


@pytest.mark.parametrize("group", EDGES, ids=str)
def test_the_edges_are_the_regression_at_the_middle_of_each_age_group(group):
    sex, age, man = group[0], group[1] + 10, int(group[0] == "male")
    assert sex in ("female", "male")
    found = [
        round(64.5 - 848 / bmi + 0.079 * age - 16.4 * man + 0.05 * man * age + 39.0 * man / bmi)
        for bmi in (18.5, 25, 30)
    ]
    assert tuple(found) == EDGES[group]


def test_fat_percent_from_masses_meets_an_edge_exactly(store):
    """Every pair of whole tenths whose share is exactly an edge lands on it: from fat mass and from fat-free mass."""
    assert (
        store.rows("""
        select edge, weight
        from (select unnest([8, 11, 13, 20, 21, 22, 23, 24, 25, 28, 30, 33, 35, 36, 39, 40, 42]) as edge)
        cross join (select unnest(range(100, 3001)) as weight)
        where weight * edge % 100 = 0
            and (fat_percent(null, weight * edge // 100 / 10, null, weight / 10) <> edge
                or fat_percent(null, null, (weight - weight * edge // 100) / 10, weight / 10) <> edge)
        order by all limit 5""")
        == []
    )


def test_without_a_percentage_there_is_no_band(store):
    assert band(store, "female", 30, None) is None
