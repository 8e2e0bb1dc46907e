"""One site from its people to its files, a file at a time, with what is true of each row."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from synthetic_cohort import truth
from synthetic_cohort.analysers import Analysers, draw_analysers
from synthetic_cohort.bodies import bodies_at
from synthetic_cohort.chance import stream
from synthetic_cohort.faults import (
    FaultRates,
    choose_faults,
    kind_index,
    repeat_rows,
    spoil_entry,
    spoil_rows,
)
from synthetic_cohort.layouts import LAYOUTS, Layout
from synthetic_cohort.participant_numbers import as_written, participant_numbers
from synthetic_cohort.people import People
from synthetic_cohort.places import Place
from synthetic_cohort.printout import draw_entry, print_readings
from synthetic_cohort.programme_effect import draw_effect
from synthetic_cohort.rows import Rows, rows_of
from synthetic_cohort.site_files import file_bytes, first_line, header_only
from synthetic_cohort.visits import Attendance, Visits, attend, month_of, quarter_day

MOST_IN_IDENTIFIER_FILE = 30


@dataclass
class Guests:
    """People of one site and the visits that they make at the next."""

    people: People
    visits: Visits


@dataclass
class SiteTruth:
    people: pl.DataFrame
    faults: pl.DataFrame
    sites: pl.DataFrame
    analysers: pl.DataFrame
    files: pl.DataFrame


@dataclass
class _Site:
    """Everything about one site that its files need."""

    folder: Path
    place: Place
    layout: Layout
    analysers: Analysers
    people: People
    visits: Visits
    which: np.ndarray  # analyser of each visit
    first_number: int
    rates: FaultRates
    readings_rng: np.random.Generator
    faults_rng: np.random.Generator


def write_site(
    folder: Path,
    place: Place,
    *,
    quarters: int,
    readings: int,
    first_number: int,
    seed: int,
    rates: FaultRates,
    file_faults: dict[int, str],
    guests: Guests | None,
    has_neighbour: bool,
    keep_readings: Callable[[pl.DataFrame], None],
) -> tuple[SiteTruth, Guests | None]:
    """Generate a site, write its files into inbox/<site>/, and return its truth and its guests for the next site.

    file_faults    quarter → fault of that quarter's file (file_faults.py)
    guests         who comes here from the site before
    keep_readings  takes the truth of each file's rows as it is written
    """
    layout = LAYOUTS[place.layout]
    effect = draw_effect(stream(seed, "effect", place.number), place.kind)
    attendance = attend(
        {purpose: stream(seed, purpose, place.number) for purpose in ("people", "visits")},
        place,
        effect,
        quarters,
        readings,
        first_number,
        has_times=layout.has_times,
        has_neighbour=has_neighbour,
    )
    site = _site_of(folder, place, quarters, first_number, seed, rates, attendance, guests)
    site.folder.mkdir(parents=True)
    written = []
    for file in _files(site, file_faults):
        if file.readings is not None:
            keep_readings(file.readings)
        written.append(replace(file, readings=None))
    joined, own = attendance.people, attendance.visits
    numbers = participant_numbers(joined.number, layout.scope, first_number)
    return SiteTruth(
        people=truth.people_truth(
            joined,
            np.bincount(own.person, minlength=len(joined)),
            as_written(numbers, layout.scope),
            place.id,
        ),
        faults=truth.with_pairs(
            pl.concat([truth.no_faults(), *(file.faults for file in written)]),
            pl.concat([truth.no_pairs(), *(file.ends for file in written)]),
        ),
        sites=truth.site_truth(place, effect, len(site.visits), len(joined)),
        analysers=truth.analyser_truth(place, site.analysers, quarters),
        files=truth.file_truth([file.fact for file in written]),
    ), _guests_of(joined, own, attendance.is_away)


def _site_of(
    folder: Path,
    place: Place,
    quarters: int,
    first_number: int,
    seed: int,
    rates: FaultRates,
    attendance: Attendance,
    guests: Guests | None,
) -> _Site:
    """The site with those who are measured here: its own people less those away, and its guests."""
    people, here = attendance.people, attendance.visits.take(np.flatnonzero(~attendance.is_away))
    if guests:
        arriving = replace(guests.visits, person=guests.visits.person + len(people))
        people, here = people.followed_by(guests.people), here.followed_by(arriving)
    analysers = draw_analysers(stream(seed, "analysers", place.number), place, quarters)
    readings_rng = stream(seed, "readings", place.number)
    return _Site(
        folder / "inbox" / place.id,
        place,
        LAYOUTS[place.layout],
        analysers,
        people,
        here,
        _analyser_of(readings_rng, here, len(analysers)),
        first_number,
        rates,
        readings_rng,
        stream(seed, "row faults", place.number),
    )


def _guests_of(people: People, visits: Visits, is_away: np.ndarray) -> Guests | None:
    away = visits.take(np.flatnonzero(is_away))
    if not len(away):
        return None
    who, person = np.unique(away.person, return_inverse=True)
    away.person = person
    return Guests(people.take(who), away)


def _analyser_of(rng: np.random.Generator, visits: Visits, analysers: int) -> np.ndarray:
    """An analyser at random, and the same one for the repeat that follows its visit."""
    which = rng.integers(0, analysers, len(visits))
    again = np.flatnonzero(visits.repeat > 0)
    which[again] = which[again - 1]
    return which


# ---- the files of a site ------------------------------------------------------------------------------------


@dataclass
class _Written:
    fact: truth.FileFact
    readings: pl.DataFrame | None
    faults: pl.DataFrame
    ends: pl.DataFrame


def _files(site: _Site, file_faults: dict[int, str]) -> Iterator[_Written]:
    """Write every file of a site in order of time."""
    months = month_of(site.visits.day)
    period = months if site.layout.by == "month" else months // 3
    order = np.argsort(period, kind="stable")
    present, starts = np.unique(period[order], return_index=True)
    bounds = [*starts.tolist(), len(order)]
    carried: Rows | None = None
    link = 0
    for i, number in enumerate(present.tolist()):
        at = order[bounds[i] : bounds[i + 1]]
        quarter, label = _label(number, site.layout.by)
        fault = file_faults.get(quarter, "")
        rows, apart = _rows(site, at, keep_apart=fault == "identifiers")
        rows, next_carried = repeat_rows(
            site.faults_rng, rows, site.layout, first_link=link, has_next_file=i + 1 < len(present)
        )
        link += len(at)
        if carried is not None and len(carried):
            carried.key = site.faults_rng.uniform(-0.5, max(rows.key.max() - 0.01, -0.4), len(carried))
            rows = rows.followed_by(carried)
        carried = next_carried
        yield from _write(site, rows.in_order(), label, quarter, fault)
        if apart is not None:
            yield _write_with_identifiers(site, apart, label, quarter)
        yield from _beside(site, label, quarter, fault)


def _rows(site: _Site, at: np.ndarray, *, keep_apart: bool) -> tuple[Rows, Rows | None]:
    """The readings of one period as a site would record them, and a few of them kept apart without fault."""
    visits, which = site.visits.take(at), site.which[at]
    participant = participant_numbers(site.people.number[visits.person], site.layout.scope, site.first_number)
    order = np.lexsort((participant, visits.minute if site.layout.has_times else visits.day))
    visits, which, participant = visits.take(order), which[order], participant[order]
    apart = np.zeros(len(at), dtype=bool)
    if keep_apart:
        apart[-min(MOST_IN_IDENTIFIER_FILE, len(at) // 3) :] = len(at) >= 3
    bodies = bodies_at(site.people, visits)
    how_often = np.bincount(site.visits.person, minlength=len(site.people))[visits.person]
    fault = choose_faults(site.faults_rng, site.rates, site.layout, bodies.age >= 18, how_often, apart)
    entry = draw_entry(site.readings_rng, site.people, visits)
    spoil_entry(site.faults_rng, fault, entry)
    printed = print_readings(
        site.readings_rng,
        site.people,
        visits,
        bodies,
        entry,
        site.analysers,
        which,
        site.layout,
        quarter_day(site.place.first_quarter),
    )
    rows = rows_of(printed, participant, site.people, visits, bodies)
    rows.fault[:] = fault
    spoil_rows(site.faults_rng, rows, site.layout)
    if not apart.any():
        return rows, None
    return rows.take(np.flatnonzero(~apart)), rows.take(np.flatnonzero(apart))


def _label(period: int, by: str) -> tuple[int, str]:
    """(quarter, how a file of the period is called)."""
    if by == "month":
        return period // 3, f"{2024 + period // 12}-{period % 12 + 1:02d}"
    return period, truth.quarter_name(period)


def _write(site: _Site, rows: Rows, label: str, quarter: int, fault: str) -> Iterator[_Written]:
    name = label + site.layout.suffix
    lines = first_line(site.layout) + np.arange(len(rows))
    if fault == "cut_off":
        rows.fault[-1], rows.field[-1], rows.found[-1], rows.true[-1] = (
            kind_index("cut_off_line"),
            -1,
            np.nan,
            np.nan,
        )
    content = file_bytes(
        rows, site.layout, site.analysers, is_cut_off=fault == "cut_off", totals=fault == "totals"
    )
    (site.folder / name).write_bytes(content)
    faults = truth.fault_truth(rows, site.place.id, name, lines)
    extra_rows = 0
    if fault == "totals":
        extra_rows = 1
        faults = pl.concat([faults, truth.totals_fault(site.place.id, name, int(lines[-1]) + 1)])
    main = fault if fault in ("cut_off", "totals") else ""
    yield _Written(
        truth.FileFact(site.place.id, name, quarter, main, "accepted", "", len(rows) + extra_rows),
        truth.reading_truth(rows, site.place.id, name, lines),
        faults,
        truth.pair_ends(rows, name, lines),
    )
    if fault == "sent_again":
        again = f"{label}_sent_again{site.layout.suffix}"
        (site.folder / again).write_bytes(content)
        yield _Written(
            truth.FileFact(
                site.place.id, again, quarter, fault, "already_received", f"the bytes of {name}", len(rows)
            ),
            None,
            truth.no_faults(),
            truth.no_pairs(),
        )


def _write_with_identifiers(site: _Site, rows: Rows, label: str, quarter: int) -> _Written:
    """A file that must be refused whole: it carries a column of e-mail addresses. Its rows stand nowhere else."""
    name = f"{label}_contacts{site.layout.suffix}"
    lines = first_line(site.layout) + np.arange(len(rows))
    addresses = [f"person{number}@example.org" for number in rows.truth["person"].tolist()]
    (site.folder / name).write_bytes(
        file_bytes(rows, site.layout, site.analysers, identifier=("E-mail", addresses))
    )
    return _Written(
        truth.FileFact(
            site.place.id, name, quarter, "identifiers", "refused", "direct identifiers: E-mail", len(rows)
        ),
        truth.reading_truth(rows, site.place.id, name, lines),
        truth.no_faults(),
        truth.no_pairs(),
    )


def _beside(site: _Site, label: str, quarter: int, fault: str) -> Iterator[_Written]:
    """Files with nothing in them."""
    if fault not in ("empty", "header_only"):
        return
    name = f"{label}_{'extra' if fault == 'empty' else 'late'}{site.layout.suffix}"
    (site.folder / name).write_bytes(b"" if fault == "empty" else header_only(site.layout))
    yield _Written(
        truth.FileFact(site.place.id, name, quarter, fault, "held", "no_rows", 0),
        None,
        truth.no_faults(),
        truth.no_pairs(),
    )
