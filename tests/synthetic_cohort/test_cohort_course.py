"""The course of the programme in the truth: visits, drop-out, effect, analysers."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl
import pytest
from cohort_files import Demo, number

from synthetic_cohort import visits
from synthetic_cohort.chance import stream
from synthetic_cohort.places import places
from synthetic_cohort.programme_effect import (
    BETWEEN_PEOPLE_SD,
    SiteEffect,
    comes_again_probability,
    draw_response,
    progress,
)
from synthetic_cohort.visits import attend, quarter_day


@pytest.fixture(scope="module")
def readings(sound) -> pl.DataFrame:
    return sound.table("readings")


def test_people_come_once_or_up_to_eight_times(readings):
    times = readings.filter(~pl.col("is_repeat")).group_by("person").agg(pl.col("visit").max(), pl.len())
    assert set(range(1, 9)) == set(times["visit"])
    assert 0.2 < (times["visit"] == 1).mean() < 0.5


def test_a_person_is_older_at_a_later_visit_and_never_comes_twice_on_a_day_but_for_a_repeat(readings):
    in_time = readings.sort("person", "visit", "is_repeat")
    apart = in_time.select(pl.col("measured_at").diff().over("person").dt.total_minutes())[
        "measured_at"
    ].drop_nulls()
    assert apart.len() > 3000 and apart.min() > 0
    ages = in_time.select(pl.col("age_months").diff().over("person"))["age_months"].drop_nulls()
    assert ages.min() == 0 and ages.max() >= 12
    days = readings.filter(~pl.col("is_repeat")).select("person", pl.col("measured_at").dt.date())
    assert days.is_unique().all()


def test_repeats_are_minutes_apart_on_one_analyser_at_sites_with_times(readings, sound):
    repeats = readings.filter("is_repeat")
    pairs = repeats.join(readings.filter(~pl.col("is_repeat")), on=["person", "visit"], suffix="_first")
    assert pairs.height == repeats.height > 100
    apart = (pairs["measured_at"] - pairs["measured_at_first"]).dt.total_minutes()
    assert apart.is_between(2, 8).all() and set(apart) == set(range(2, 9))
    assert (pairs["weight_kg"] == pairs["weight_kg_first"]).all() and (
        pairs["site"] == pairs["site_first"]
    ).all()
    assert (pairs["analyser"] == pairs["analyser_first"]).all() and (
        pairs["file"] == pairs["file_first"]
    ).all()
    formats = {
        site: profile.columns["measured_on"].format for site, profile in sound.programme.profiles.items()
    }
    assert all(formats[site] is None or "%H" in formats[site] for site in repeats["site"].unique())


def test_a_few_people_are_seen_at_two_sites_under_one_programme_number(readings, sound):
    sites = readings.group_by("person").agg(pl.col("site").n_unique().alias("sites"))
    both = sites.filter(pl.col("sites") == 2)
    assert 0 < both.height < 0.03 * sites.height and sites["sites"].max() == 2
    numbers = dict(sound.table("people").select("person", "participant").iter_rows())
    seen = readings.join(both, on="person").select("site", "file", "line", "person").iter_rows()
    assert all(
        sound.rows[site, file, line]["participant"] == numbers[person] for site, file, line, person in seen
    )


def test_programme_numbers_are_each_persons_own_and_site_numbers_are_not(sound):
    people = sound.table("people")
    of_programme = people.filter(pl.col("participant").str.contains(r"^HD\d{8}$"))
    of_sites = people.filter(pl.col("participant").str.contains(r"^\d{5,}$"))
    assert of_programme.height + of_sites.height == people.height
    assert of_programme["participant"].is_unique().all()
    assert of_sites.select("home", "participant").is_unique().all()
    assert not of_sites["participant"].is_unique().all()


def test_sites_start_when_the_truth_says_and_some_start_later(readings, sound):
    starts = readings.group_by("site").agg(pl.col("quarter").min())
    joined = sound.table("sites").join(starts, on="site")
    assert (joined["quarter"] == joined["first_quarter"]).all()
    assert joined["first_quarter"].n_unique() >= 3
    assert (joined["programme_quarter"] > joined["first_quarter"]).sum() >= 4


def test_nothing_changes_before_the_programme_begins(readings, sound):
    later = readings.join(sound.table("sites"), on="site")
    guests = sound.table("people").select("person", "home")
    at_home = later.join(guests, on="person").filter(pl.col("home") == pl.col("site"))
    before = at_home.filter(pl.col("quarter") < pl.col("programme_quarter"))
    assert before.height > 200 and (before["programme_change_kg"] == 0).all()
    assert (at_home.filter(pl.col("visit") == 1)["programme_change_kg"] == 0).all()


def test_the_programme_changes_adults_and_never_children(readings, sound):
    people = sound.table("people")
    young = people.filter(pl.col("age_months") < 18 * 12)
    assert young.height > 300 and (young["response"] == 0).all()
    schools = sound.table("sites").filter(pl.col("kind") == "school")
    assert (schools["mean_change"] == 0).all()
    adults = sound.table("sites").filter(pl.col("kind") != "school")
    assert adults["mean_change"].n_unique() > 15


def test_responses_average_the_sites_true_effect():
    effect = SiteEffect(mean_change=-0.05, return_log_odds=1.0, return_per_percent=0.2)
    response = draw_response(np.random.default_rng(1), effect, np.full(40_000, 40.0))
    assert response.mean() == pytest.approx(-0.05, abs=4 * BETWEEN_PEOPLE_SD / 200)
    assert response.std() == pytest.approx(BETWEEN_PEOPLE_SD, rel=0.02)


def test_progress_is_0_before_the_programme_and_1_after_four_quarters():
    assert progress([-1, 0, 4]).tolist() == [0.0, 0.0, 1.0]
    assert np.all(np.diff(progress(np.arange(9))) > 0)


def test_those_who_lose_weight_come_again_more_often():
    effect = SiteEffect(mean_change=-0.03, return_log_odds=np.log(3), return_per_percent=0.2)
    assert comes_again_probability(effect, 0.0) == pytest.approx(0.75)
    assert comes_again_probability(effect, -0.05) == pytest.approx(3 * np.e / (1 + 3 * np.e))
    assert comes_again_probability(effect, 0.05) < 0.75


def _attendance(return_per_percent):
    place = places(1, 8)[0]
    effect = SiteEffect(mean_change=-0.03, return_log_odds=0.9, return_per_percent=return_per_percent)
    streams = {purpose: stream(5, purpose) for purpose in ("people", "visits")}
    return attend(streams, place, effect, 8, 40_000, 0, has_times=False, has_neighbour=False)


def _completers_excess(attended) -> float:
    """Mean response of those with five visits or more, less that of everybody who joined in the first year."""
    early = (attended.people.first_day < 365) & (attended.people.age >= 18)
    most = np.zeros(len(attended.people), dtype=int)
    np.maximum.at(most, attended.visits.person, attended.visits.visit)
    return attended.people.response[early & (most >= 5)].mean() - attended.people.response[early].mean()


def test_completers_look_better_than_the_site_is_where_drop_out_depends_on_the_outcome():
    assert _completers_excess(_attendance(0.25)) < -0.008
    assert abs(_completers_excess(_attendance(0.0))) < 0.003


def test_visits_keep_to_opening_days_and_hours(readings, sound):
    kinds = sound.table("sites").select("site", "kind")
    times = (
        readings.filter(~pl.col("is_repeat"))
        .join(kinds, on="site")
        .with_columns(
            pl.col("measured_at").dt.weekday().alias("weekday"), pl.col("measured_at").dt.hour().alias("hour")
        )
    )
    at_school = times.filter(pl.col("kind") == "school")
    assert at_school["weekday"].max() == 5 and at_school["hour"].is_between(9, 15).all()
    assert times.filter(pl.col("kind") == "gym")["weekday"].max() == 7


def test_quarters_begin_on_their_first_day():
    days = [str(visits.FIRST_DAY + quarter_day(quarter)) for quarter in (0, 1, 4, 8)]
    assert days == ["2024-01-01", "2024-04-01", "2025-01-01", "2026-01-01"]


def test_every_reading_is_in_the_file_of_its_period(readings):
    months = readings.filter(pl.col("file").str.contains(r"^\d{4}-\d{2}\."))
    assert (
        months.height > 300
        and (months["file"].str.head(7) == months["measured_at"].dt.strftime("%Y-%m")).all()
    )
    quarters = readings.filter(pl.col("file").str.contains(r"^\d{4}Q\d\."))
    assert quarters.height + months.height == readings.height
    assert (quarters["file"].str.head(6) == quarters["quarter"]).all()


# ---- analysers ------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def one_gym(tmp_path_factory) -> Demo:
    """Enough readings at the first ten sites to see what is wrong with their analysers."""
    return Demo.made(tmp_path_factory.mktemp("gyms") / "demo", readings=24_000, sites=10, faults=False)


def _weight_error(demo: Demo, site: str) -> pl.DataFrame:
    """Printed less true weight in kg, a row a reading, with the analyser and the quarters since the site began."""
    profile = demo.programme.profiles[site]
    to_kg = 0.45359237 if profile.columns["weight"].unit == "[lb_av]" else 1.0
    truth = demo.table("readings").filter(pl.col("site") == site)
    printed = [
        number(demo.rows[site, file, line]["weight"], profile) * to_kg
        for file, line in truth.select("file", "line").iter_rows()
    ]
    return truth.select("analyser", "measured_at", error=pl.Series(printed) - truth["weight_kg"])


def test_one_analyser_jumps_by_a_kilogram_on_the_day_of_the_truth(one_gym):
    shifted = one_gym.table("analysers").filter(pl.col("shift_kg") != 0).to_dicts()
    assert len(shifted) == 1 and shifted[0]["shift_kg"] == 1.0
    errors = _weight_error(one_gym, shifted[0]["site"]).filter(pl.col("analyser") == shifted[0]["analyser"])
    after = errors["measured_at"].dt.date() >= shifted[0]["shift_on"]
    assert min(after.sum(), (~after).sum()) > 300
    jump = errors.filter(after)["error"].mean() - errors.filter(~after)["error"].mean()
    assert jump == pytest.approx(1.0, abs=0.04)


def test_one_analyser_drifts_by_half_a_kilogram_a_quarter(one_gym):
    drifting = one_gym.table("analysers").filter(pl.col("drift_kg_a_quarter") != 0).to_dicts()
    assert len(drifting) == 1 and drifting[0]["drift_kg_a_quarter"] == 0.5
    errors = _weight_error(one_gym, drifting[0]["site"]).filter(pl.col("analyser") == drifting[0]["analyser"])
    quarters = (errors["measured_at"] - datetime(2024, 1, 1)).dt.total_days() / visits.DAYS_A_QUARTER
    slope, start = np.polyfit(quarters.to_numpy(), errors["error"].to_numpy(), 1)
    assert slope == pytest.approx(0.5, abs=0.01)
    assert start == pytest.approx(drifting[0]["weight_bias_kg"], abs=0.03)


def test_water_is_a_constant_share_of_fat_free_mass_at_one_site_only(one_gym):
    spread = {}
    for (site, _, _), row in one_gym.rows.items():
        profile = one_gym.programme.profiles[site]
        if row.get("total_body_water") is not None and profile.columns["total_body_water"].unit == "kg":
            water, free = (number(row[name], profile) for name in ("total_body_water", "fat_free_mass"))
            spread.setdefault(site, []).append((water - 0.73 * free, water / free))
    constant = one_gym.table("analysers").filter(pl.col("water_constant").is_not_null())
    assert set(constant["site"]) == {"tidewater-baths"} and (constant["water_constant"] == 0.73).all()
    assert len(spread) >= 4
    for site, values in spread.items():
        off, ratio = np.array(values).T
        if site == "tidewater-baths":
            assert np.abs(off).max() <= 0.05 + 1e-9  # rounding and nothing else
        else:
            assert ratio.std() > 0.015
