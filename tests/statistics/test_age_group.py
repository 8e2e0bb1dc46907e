import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.measures import AGE_GROUPS, AGE_TOTALS
from pipeline.statistics.age_group import ages_reported, count_by_group, group_table

GROUPS = [*AGE_GROUPS, *AGE_TOTALS]


def tally_of(rows):
    return pl.DataFrame(
        rows, orient="row", schema={"key": pl.String, "sex": pl.String, "age": pl.Int16, "n": pl.Int64}
    )


def counted(rows, groups):
    """{(key, sex, age_from, age_to): n}"""
    listed = group_table(groups)
    frame = count_by_group(tally_of(rows), listed, ["key"]).join(listed, on="group")
    return {row[:4]: row[4] for row in frame.select("key", "sex", "age_from", "age_to", "n").rows()}


def test_both_ends_of_a_group_lie_within_it():
    found = counted([("k", "female", age, 1) for age in (19, 20, 29, 30)], [(20, 29)])
    assert found == {("k", "female", 20, 29): 2, ("k", "all", 20, 29): 2}


def test_an_age_counts_in_its_group_and_in_every_total_for_its_sex_and_for_all():
    found = counted([("k", "male", 17, 3)], GROUPS)
    assert found == {("k", sex, *ages): 3 for sex in ("male", "all") for ages in [(15, 19), (5, 19), (5, 99)]}


@given(
    st.lists(
        st.tuples(
            st.sampled_from("ab"), st.sampled_from(["female", "male"]), st.integers(5, 99), st.integers(1, 9)
        ),
        max_size=40,
    ),
    st.integers(0, 40),
)
def test_tallies_add_up_over_any_split(rows, cut):
    whole, left, right = (counted(part, GROUPS) for part in (rows, rows[:cut], rows[cut:]))
    assert whole == {key: left.get(key, 0) + right.get(key, 0) for key in {*left, *right}}
    for (key, sex, age_from, age_to), n in whole.items():
        assert n == sum(
            r[3] for r in rows if r[0] == key and sex in ("all", r[1]) and age_from <= r[2] <= age_to
        )


@given(
    st.permutations(
        [("a", "female", 8, 2), ("a", "male", 8, 1), ("b", "male", 44, 5), ("a", "female", 99, 7)]
    )
)
def test_the_order_of_rows_does_not_matter(rows):
    assert counted(rows, GROUPS) == counted(sorted(rows), GROUPS)


def test_overlapping_groups_of_any_shape_are_counted_each():
    found = counted([("k", "female", age, 1) for age in range(5, 100)], [(5, 40), (30, 99), (35, 35)])
    assert {key[2:]: n for key, n in found.items() if key[1] == "female"} == {
        (5, 40): 36,
        (30, 99): 70,
        (35, 35): 1,
    }


def test_an_age_outside_every_group_counts_in_none():
    assert counted([("k", "female", 80, 4)], [(20, 79)]) == {}


def test_no_rows_give_no_counts():
    assert counted([], GROUPS) == {}


@pytest.mark.parametrize(
    ("groups", "message"), [([(30, 20)], "ends before it begins"), ([(5, 9), (5, 9)], "stands twice")]
)
def test_groups_that_cannot_be_are_refused(groups, message):
    with pytest.raises(ValueError, match=message):
        group_table(groups)


def test_an_unknown_sex_is_refused():
    with pytest.raises(ValueError, match="sex unknown in a tally; the sexes are female, male"):
        counted([("k", "unknown", 30, 1)], GROUPS)


@pytest.mark.parametrize(
    ("lowest", "highest", "first", "absent"),
    [
        (20, 99, (20, 29), (5, 99)),  # adults: 20 to 99 says it, 5 to 99 would be the same people
        (18, 99, (20, 29), (15, 19)),  # 15 to 19 would be the 18- and 19-year-olds alone
        (5, 19, (5, 9), (5, 99)),
        (20, 79, (20, 29), (80, 89)),
    ],
)
def test_a_banding_is_reported_where_the_groups_are_its_own(lowest, highest, first, absent):
    found = ages_reported([*AGE_GROUPS, *AGE_TOTALS], lowest, highest)
    assert first in found and absent not in found
    total = (5, 19) if highest == 19 else (20, 99)
    assert total in found


def test_a_measure_of_all_ages_is_reported_in_every_group():
    assert ages_reported([*AGE_GROUPS, *AGE_TOTALS], 5, 99) == sorted([*AGE_GROUPS, *AGE_TOTALS])


def test_where_no_group_begins_with_a_banding_those_that_reach_it_stay():
    assert ages_reported([(5, 99)], 20, 99) == [(5, 99)]
