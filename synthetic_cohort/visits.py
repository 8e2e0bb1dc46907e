"""Who comes when: first visits, returns that depend on the outcome so far, and repeat readings minutes later."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from synthetic_cohort.people import People, draw_people
from synthetic_cohort.places import Place
from synthetic_cohort.programme_effect import SiteEffect, comes_again_probability, draw_response, progress

FIRST_DAY = np.datetime64("2024-01-01")  # a Monday; quarter 0 is 2024Q1
DAYS_A_QUARTER = 365.25 / 4
MOST_VISITS = 8
REPEAT_SHARE = 0.05  # of visits, a second reading a few minutes later
AWAY_SHARE = 0.02  # of later visits, made at the neighbouring site
DAY_TO_DAY_SD = 0.45  # kg, water and gut content from one day to another: project's choice

# Opening hours in minutes of the day, and whether weekends count, by kind: project's choice.
_HOURS = {
    "gym": (390, 1290),
    "clinic": (510, 1020),
    "school": (540, 930),
    "workplace": (480, 1080),
    "community": (570, 1200),
}
_OPEN_AT_WEEKENDS = {"gym", "community"}
# Days between visits: a least gap and the scale of a gamma (shape 2) on top of it, by kind: project's choice.
_GAPS = {
    "gym": (21, 24),
    "clinic": (28, 28),
    "school": (75, 14),
    "workplace": (42, 24),
    "community": (28, 30),
}


@dataclass
class Visits:
    """One element a reading. Shapes: every array is (readings,)."""

    person: np.ndarray  # index into the site's People
    minute: np.ndarray  # since FIRST_DAY
    visit: np.ndarray  # 1 is the person's first
    repeat: np.ndarray  # 0, or 1 for the reading a few minutes after
    day_noise: np.ndarray  # kg, the same for both readings of a visit

    def take(self, index: np.ndarray) -> Visits:
        return Visits(**{field.name: getattr(self, field.name)[index] for field in fields(self)})

    def followed_by(self, other: Visits) -> Visits:
        return Visits(
            **{
                field.name: np.concatenate([getattr(self, field.name), getattr(other, field.name)])
                for field in fields(self)
            }
        )

    @property
    def day(self) -> np.ndarray:
        return self.minute // 1440

    def __len__(self) -> int:
        return len(self.person)


@dataclass
class Attendance:
    people: People
    visits: Visits
    is_away: np.ndarray  # made at the neighbouring site, which keeps the record


def attend(
    streams: dict[str, np.random.Generator],
    place: Place,
    effect: SiteEffect,
    quarters: int,
    readings: int,
    first_number: int,
    *,
    has_times: bool,
    has_neighbour: bool,
) -> Attendance:
    """The people of a site and exactly `readings` readings of theirs, in order of person, visit and repeat.

    People are added in batches until there are enough readings; the last one's surplus visits are left out.
    """
    batches: list[tuple[People, Visits]] = []
    people_count = reading_count = 0
    while reading_count < readings or not batches:
        n = int((readings - reading_count) / 2.0) + 8
        people = draw_people(streams["people"], n, place.kind, place.number, first_number + people_count)
        visits = _visits_of(streams["visits"], people, place, effect, quarters, has_times)
        visits.person += people_count
        batches.append((people, visits))
        people_count += n
        reading_count += len(visits)
    people, visits = batches[0]
    for more_people, more_visits in batches[1:]:
        people, visits = people.followed_by(more_people), visits.followed_by(more_visits)
    visits = visits.take(np.arange(readings))
    people = people.take(np.arange(int(visits.person[-1]) + 1 if readings else 0))
    is_away = np.zeros(readings, dtype=bool)
    if has_neighbour:
        # One decision a visit, so that both readings of a visit are made at the same site.
        lots = streams["visits"].random((len(people), MOST_VISITS))[visits.person, visits.visit - 1]
        is_away = (lots < AWAY_SHARE) & (visits.visit > 1)
    return Attendance(people, visits, is_away)


def _visits_of(
    rng: np.random.Generator, people: People, place: Place, effect: SiteEffect, quarters: int, has_times: bool
) -> Visits:
    """All visits of a batch of people: each goes on until they stop coming or the programme ends."""
    start, end = quarter_day(place.first_quarter), quarter_day(quarters)
    people.programme_day[:] = quarter_day(place.programme_quarter)
    people.response[:] = draw_response(rng, effect, people.age)
    # More people join early than late, so that the quarters are of comparable size.
    first = start + (end - start) * rng.random(len(people)) ** 1.35
    people.first_day[:] = _open_day(first.astype(np.int32), start, place.kind)
    came, day, steps = np.arange(len(people), dtype=np.int32), people.first_day.copy(), []
    for visit in range(1, MOST_VISITS + 1):
        steps.append((came, day, np.full(len(came), visit, dtype=np.int8)))
        change = people.response[came] * progress(quarters_in_programme(people, came, day))
        stays = rng.random(len(came)) < comes_again_probability(effect, change)
        least, scale = _GAPS[place.kind]
        later = day + least + rng.gamma(2.0, scale, len(came)).astype(np.int32)
        later = _open_day(later, start, place.kind)
        on_time = stays & (later < end)
        came, day = came[on_time], later[on_time]
    person, day, visit = (np.concatenate([step[i] for step in steps]) for i in range(3))
    return _as_readings(rng, person, day, visit, place.kind, has_times)


def _as_readings(rng, person, day, visit, kind, has_times) -> Visits:
    opens, closes = _HOURS[kind]
    n = len(person)
    minute = day.astype(np.int64) * 1440 + rng.integers(opens, closes, n)
    noise = rng.normal(0, DAY_TO_DAY_SD, n)
    again = np.flatnonzero(rng.random(n) < REPEAT_SHARE) if has_times else np.zeros(0, dtype=np.int64)
    source = np.concatenate([np.arange(n), again])
    repeat = np.concatenate([np.zeros(n, dtype=np.int8), np.ones(len(again), dtype=np.int8)])
    minute = minute[source] + repeat * rng.integers(2, 9, len(source))
    order = np.lexsort((repeat, visit[source], person[source]))
    source = source[order]
    return Visits(person[source], minute[order], visit[source], repeat[order], noise[source])


def _open_day(day: np.ndarray, start: int, kind: str) -> np.ndarray:
    """Closed at weekends: the Friday before instead (day 0 is a Monday), or the Monday after at the very start."""
    if kind in _OPEN_AT_WEEKENDS:
        return day
    weekday = day % 7
    friday = day - np.maximum(weekday - 4, 0)
    return np.where(friday < start, day + (7 - weekday), friday).astype(day.dtype)


def quarters_in_programme(people: People, person: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Quarters since the programme could begin to work on a person: after the first visit and the site's start."""
    since = np.maximum(people.first_day[person], people.programme_day[person])
    return np.maximum(day - since, 0) / DAYS_A_QUARTER


def quarter_day(quarter: int) -> int:
    """The first day of a quarter, counted from FIRST_DAY."""
    month = FIRST_DAY.astype("datetime64[M]") + 3 * quarter
    return int((month.astype("datetime64[D]") - FIRST_DAY).astype(int))


def month_of(day: np.ndarray) -> np.ndarray:
    """Whole months since 2024-01."""
    months = (FIRST_DAY + day.astype("timedelta64[D]")).astype("datetime64[M]")
    return (months - FIRST_DAY.astype("datetime64[M]")).astype(int)
