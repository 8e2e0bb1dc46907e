"""Two versions of one period side by side: what the differences tell, and the version that tells nothing.

Invented counts throughout. The attack in `smallest_inferred_group` is written anew here, with linear programmes over
whole differences, and shares no step with the guard.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from invented_tables import data_quality_of, percentile_of, prevalence_of
from scipy.optimize import linprog

from pipeline.disclosure import protect
from pipeline.disclosure.between_releases import exposures, with_earlier_figures, without_small_differences
from pipeline.disclosure.cells import KEY, Cells, cells_of
from pipeline.disclosure.equations import equations_of
from pipeline.programme import Disclosure

RULES = Disclosure()
M = RULES.minimum_count
KEYS = {
    "prevalence": ("banding", "band", "population", "site", "period", "sex", "age_from", "age_to"),
    "percentile": ("measure", "site", "period", "sex", "age_from", "age_to", "percentile"),
    "data_quality": ("site", "period", "item", "severity"),
    "standardised_prevalence": (
        "banding",
        "band",
        "population",
        "site",
        "period",
        "sex",
        "age_from",
        "age_to",
    ),
}
CELL = list(KEYS["prevalence"])


def bands(*counts: int, site: bool = False) -> dict[str, pl.DataFrame]:
    """One group of women in four bands of body fat, all sites."""
    people = np.array(counts).reshape(1, 1, 1, -1).repeat(2, axis=1)
    rows = prevalence_of(people).filter((pl.col("sex") == "female") & (pl.col("population") == "all"))
    return {"prevalence": rows}


def why(earlier, new) -> dict[str, str]:
    found = exposures(earlier, new, M)
    return dict(zip(found["band"], found["why"], strict=True))


@pytest.mark.parametrize(
    ("new", "told"),
    [
        ((40, 50, 60, 70), {}),  # nothing changed
        ((50, 60, 60, 70), {}),  # ten more in each of two bands
        (
            (49, 61, 60, 70),
            {"under": "small change", "healthy": "one band"},
        ),  # nine more, and all others in one
        ((31, 50, 60, 70), {"under": "small change", "": "small change"}),  # nine fewer: they left
        ((30, 40, 60, 70), {}),  # ten fewer in each of two
        ((41, 49, 60, 70), {"under": "small change", "healthy": "small change"}),  # one moved
        ((60, 30, 60, 70), {}),  # twenty moved
        ((60, 50, 60, 70), {"under": "one band"}),  # all who came are in one band: it says where they are
        ((60, 60, 60, 70), {}),
        ((60, 59, 60, 70), {"under": "one band", "healthy": "small change"}),
    ],
)
def test_a_difference_is_held_to_the_rule_for_counts(new, told):
    assert why(bands(40, 50, 60, 70), bands(*new)) == told


def test_what_is_withheld_in_one_and_shown_in_the_other_is_told_either_way():
    shown = bands(40, 50, 60, 70)
    hidden = {
        "prevalence": shown["prevalence"].with_columns(
            n=pl.when(pl.col("band").is_in(["under", "obese"])).then(None).otherwise("n")
        )
    }
    assert why(hidden, shown) == {"under": "shown now", "obese": "shown now"}
    assert why(shown, hidden) == {"under": "withheld now", "obese": "withheld now"}
    assert why(hidden, hidden) == {}


def test_the_rest_of_a_sum_is_a_difference_too():
    """Two bands are withheld in both; the group grew by 12 and the two others by 10: the rest is two people."""
    old, new = bands(40, 50, 60, 70)["prevalence"], bands(50, 50, 60, 72)["prevalence"]
    hide = pl.when(pl.col("band").is_in(["over", "obese"])).then(None).otherwise("n")
    found = why({"prevalence": old.with_columns(n=hide)}, {"prevalence": new.with_columns(n=hide)})
    assert found == {"under": "one band", "": "rest"}


def test_several_sums_together_are_a_difference_too():
    """One woman of 20 to 29 comes to a site, 20 others elsewhere. Her row and column are withheld, and follow."""
    people = np.full((3, 2, 2, 4), 30)
    more = people.copy()
    more[0, 0, 0] += (10, 11, 0, 0)
    more[1, 0, 0] += (12, 13, 0, 0)
    more[0, 1, 1] += (0, 0, 14, 10)
    more[2, 0, 1] += (1, 0, 0, 0)
    old, new = prevalence_of(people), prevalence_of(more)
    small = why({"prevalence": old}, {"prevalence": new})
    assert "small change" in small.values()
    # leave every change of site-2 out: the sums over sites give it back all the same
    kept = {"prevalence": _with_old_rows(new, old, pl.col("site") == "site-2")}
    assert exposures({"prevalence": old}, kept, M)["why"].is_in(["rest", "follows"]).any()


def _with_old_rows(new: pl.DataFrame, old: pl.DataFrame, where: pl.Expr) -> pl.DataFrame:
    return pl.concat([new.filter(~where.fill_null(False)), old.filter(where.fill_null(False))])


def release(people: np.ndarray) -> dict[str, pl.DataFrame]:
    tables = {"prevalence": prevalence_of(people), "percentile": percentile_of(people)}
    return protect(tables, RULES)


def counts(tables: dict[str, pl.DataFrame]) -> pl.DataFrame:
    return tables["prevalence"].select(*CELL, "n", "denominator")


def test_a_version_with_earlier_figures_exposes_nobody_and_restates_what_it_may():
    people = np.full((3, 2, 3, 4), 40)
    more = people.copy()
    more[0, 0, 0] += (15, 14, 13, 12)  # may be told
    more[2, 1, 2] += (1, 0, 2, 0)  # may not
    old, new = release(people), release(more)
    assert exposures(old, new, M).height
    made = with_earlier_figures([old], new, M, KEYS)
    assert exposures(old, made, M).is_empty()
    both = (
        counts(made)
        .join(counts(old), on=CELL, nulls_equal=True, suffix="_old")
        .join(counts(new), on=CELL, nulls_equal=True, suffix="_new")
    )
    assert both.filter((pl.col("n") != pl.col("n_old")) & (pl.col("n") != pl.col("n_new"))).is_empty()
    site = both.filter(
        (pl.col("site") == "site-0") & (pl.col("sex") == "female") & (pl.col("age_from") == 20)
    )
    assert site.filter(pl.col("age_to") == 29)["n"].sort().to_list() == [52, 53, 54, 55]
    assert both.filter(pl.col("site") == "site-2")["n"].to_list() == (
        both.filter(pl.col("site") == "site-2")["n_old"].to_list()
    )


def test_a_groups_bands_are_all_of_one_version_and_add_up():
    people = np.full((2, 2, 2, 4), 40)
    more = people.copy()
    more[0, 0, 0] += (30, 25, 4, 0)
    old, new = release(people), release(more)
    made = with_earlier_figures([old], new, M, KEYS)["prevalence"]
    group = ["banding", "site", "period", "sex", "age_from", "age_to"]
    sums = made.group_by(group).agg(pl.col("n").sum(), pl.col("denominator").unique())
    assert sums.filter(pl.col("denominator").list.len() != 1).is_empty()
    assert sums.filter(pl.col("n") != pl.col("denominator").list.first()).is_empty()


def test_a_site_that_was_not_there_before_is_shown_with_its_own_rows():
    people = np.full((3, 2, 2, 4), 40)
    old = release(people[:2])
    new = release(people)
    made = with_earlier_figures([old], new, M, KEYS)
    assert exposures(old, made, M).is_empty()
    late = made["prevalence"].filter(pl.col("site") == "site-2")
    assert late["n"].to_list() == new["prevalence"].filter(pl.col("site") == "site-2")["n"].to_list()


def test_one_late_person_leaves_the_version_as_it_was():
    people = np.full((3, 2, 2, 4), 40)
    more = people.copy()
    more[1, 0, 1, 2] += 1
    old, new = release(people), release(more)
    made = with_earlier_figures([old], new, M, KEYS)
    for name in old:
        assert made[name].sort(KEYS[name]).equals(old[name].select(made[name].columns).sort(KEYS[name])), name


def test_a_third_version_is_held_to_the_first_as_well():
    """+20, then −15: each may be told of the version before it, but the third less the first is five people."""
    people = np.full((2, 2, 2, 4), 60)
    second, third = people.copy(), people.copy()
    second[0, 0, 0] += (20, 20, 0, 0)
    third[0, 0, 0] += (5, 5, 0, 0)
    versions = [release(people), release(second)]
    new = release(third)
    assert exposures(versions[1], new, M).is_empty()
    assert exposures(versions[0], new, M).height
    made = with_earlier_figures(versions, new, M, KEYS)
    assert all(exposures(version, made, M).is_empty() for version in versions)


def test_a_percentile_of_as_many_people_is_new_only_where_enough_are_known_to_have_changed():
    people = np.full((1, 2, 1, 4), 60)
    moved_few, moved_many = people.copy(), people.copy()
    moved_few[0, 0, 0] += (-9, 9, 0, 0)
    moved_many[0, 0, 0] += (-30, 30, 0, 0)
    old = release(people)
    for after, is_new in ((moved_few, False), (moved_many, True)):
        new = release(after)
        new["percentile"] = new["percentile"].with_columns(value=pl.col("value") + 1)
        made = with_earlier_figures([old], new, M, KEYS)["percentile"]
        women = made.filter(
            (pl.col("sex") == "female") & (pl.col("percentile") == 50) & pl.col("site").is_null()
        )
        assert women["value"].to_list() == [111.0 if is_new else 110.0]


def test_figures_worked_out_of_counts_follow_the_counts_they_rest_on():
    people = np.full((4, 2, 2, 4), 60)
    more = people.copy()
    more[0] += 20
    more[1] += 20
    more[2, 0, 0, 0] += 1
    old, new = release(people), release(more)
    derived = old["prevalence"].select(*CELL, proportion=pl.lit(0.5))
    old["standardised_prevalence"] = derived
    new["standardised_prevalence"] = derived.with_columns(proportion=pl.lit(0.6))
    made = with_earlier_figures([old], new, M, KEYS)["standardised_prevalence"]
    # a change at site-2 is kept, and so is one of another site, which would give it away; all sites rest on each
    by_site = {site: set(rows["proportion"]) for (site,), rows in made.group_by("site")}
    assert by_site[None] == by_site["site-2"] == {0.5} and sorted(map(max, by_site.values())) == [
        0.5,
        0.5,
        0.5,
        0.6,
        0.6,
    ]
    more[2, 0, 0, 0] -= 1
    new = release(more) | {"standardised_prevalence": new["standardised_prevalence"]}
    made = with_earlier_figures([old], new, M, KEYS)["standardised_prevalence"]
    assert set(made["proportion"]) == {0.6}


def test_rows_and_readings_are_held_to_the_rule_and_files_are_not():
    def account(files: int, readings: int) -> dict[str, pl.DataFrame]:
        rows = [
            ("site-0", "2025Q1", "readings", "count", readings, readings + 40),
            ("site-0", None, "files_held", "count", files, 20),
        ]
        return {"data_quality": data_quality_of(rows)}

    assert exposures(account(5, 100), account(6, 100), M).is_empty()
    found = exposures(account(5, 100), account(5, 103), M)
    assert set(found["family"]) >= {"readings"} and set(found["why"]) == {"small change"}


# ---- figures over all periods ----------------------------------------------------------------------------------


def trend(n: int, denominator: int) -> pl.DataFrame:
    return pl.DataFrame(
        {
            **{"banding": ["body_fat"], "band": ["over"], "sex": ["all"], "age_from": [20], "age_to": [79]},
            **{"n": [n], "denominator": [denominator], "odds_ratio": [1.1], "low": [1.0], "high": [1.2]},
            **{"points_a_period": [0.1], "p": [0.5], "flag": [None]},
        },
        schema_overrides={"flag": pl.String},
    )


def of_quarter(period: str, n: int, denominator: int) -> pl.DataFrame:
    return pl.DataFrame(
        {
            **{
                "banding": ["body_fat"],
                "band": ["over"],
                "population": ["all"],
                "site": [None],
                "period": [period],
            },
            **{"sex": ["all"], "age_from": [20], "age_to": [79], "n": [n], "denominator": [denominator]},
        },
        schema_overrides={"site": pl.String},
    )


@pytest.mark.parametrize(("late", "is_shown"), [(0, True), (1, False), (9, False), (10, True)])
def test_a_trend_that_tells_of_a_few_late_people_in_earlier_periods_is_withheld(late, is_shown):
    """Frozen at the end of Q1: 100 of 400. Q2 has 110 of 410. The trend to Q2 counts whoever came late to Q1 too."""
    first = {"prevalence": of_quarter("2025Q1", 100, 400), "trend": trend(100, 400)}
    second = {"prevalence": of_quarter("2025Q2", 110, 410), "trend": trend(210 + late, 810 + 3 * late)}
    made = without_small_differences(second, "2025Q2", [("2025Q1", first)], M)["trend"]
    assert (made["n"][0] is not None) == is_shown
    assert made["flag"][0] == (None if is_shown else "withheld")
    assert (made["odds_ratio"][0] is not None) == is_shown


# ---- an attack that shares nothing with the guard ----------------------------------------------------------------


def smallest_inferred_group(old: dict[str, pl.DataFrame], new: dict[str, pl.DataFrame]) -> int:
    """The least number of people, above none, that some difference is pinned to by linear programmes.

    The attacker knows every sum that holds, and every difference of two shown counts that is not nothing; whether a
    count that did not change on paper changed, they do not know. 10**9 where nothing is pinned.
    """
    frame = (
        cells_of(old)
        .frame.select(*KEY, before="count")
        .join(cells_of(new).frame.select(*KEY, after="count"), on=KEY, how="full", coalesce=True)
        .sort(KEY)
        .with_row_index("cell")
    )
    structure = frame.with_columns(count=pl.lit(None, dtype=pl.Int64))  # no twins: only sums that always hold
    equations = equations_of(Cells(structure, {}))
    change = frame.select((pl.col("after") - pl.col("before")).fill_null(0)).to_series().to_numpy()
    matrix = np.zeros((equations["equation"].n_unique(), frame.height))
    for equation, cell, is_total in equations.select("equation", "cell", "is_total").iter_rows():
        matrix[equation, cell] = -1.0 if is_total else 1.0
    limits = [(float(d), float(d)) if d else (-1000.0, 1000.0) for d in change]
    found = [abs(int(d)) for d in change if d]
    for cell in range(frame.height):
        if change[cell]:
            continue
        goal = np.zeros(frame.height)
        goal[cell] = 1.0
        ends = [
            linprog(sign * goal, A_eq=matrix, b_eq=np.zeros(matrix.shape[0]), bounds=limits).fun * sign
            for sign in (1, -1)
        ]
        if ends[1] - ends[0] < 1e-6 and abs(ends[0]) > 0.5:
            found.append(round(abs(ends[0])))
    return min(found, default=10**9)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32 - 1), st.sampled_from([1, 5, 12, 25, 60]))
@example(13100, 60)  # two counts that are as many only where the versions are mixed
def test_no_version_that_passes_the_guard_pins_a_few_people(seed, late):
    random = np.random.default_rng(seed)
    people = random.integers(0, 60, (2, 2, 2, 4))
    more = people.copy()
    np.add.at(more, tuple(random.integers(0, size, late) for size in people.shape), 1)
    if seed % 2:  # all of them at one site, as late files come
        more = people.copy()
        np.add.at(more[0], tuple(random.integers(0, size, late) for size in people.shape[1:]), 1)
    old = protect({"prevalence": prevalence_of(people)}, RULES)
    new = protect({"prevalence": prevalence_of(more)}, RULES)
    made = with_earlier_figures([old], new, M, KEYS)
    assert exposures(old, made, M).is_empty()
    assert smallest_inferred_group(old, made) >= M


def test_the_attack_finds_a_breach_that_is_planted():
    people = np.full((2, 2, 2, 4), 60)
    more = people.copy()
    more[0, 0, 0] += (20, 20, 0, 0)
    more[1, 1, 1] += (3, 0, 0, 0)
    old, new = {"prevalence": prevalence_of(people)}, {"prevalence": prevalence_of(more)}
    kept = {"prevalence": _with_old_rows(new["prevalence"], old["prevalence"], pl.col("site") == "site-1")}
    assert smallest_inferred_group(old, new) == 3 == smallest_inferred_group(old, kept)
    assert exposures(old, kept, M).height
