"""The whole demo programme: sites one after the other, each a file at a time, the truth beside them."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np

from synthetic_cohort.chance import stream
from synthetic_cohort.faults import NO_FAULTS, FaultRates
from synthetic_cohort.file_faults import plan_file_faults
from synthetic_cohort.layouts import LAYOUTS
from synthetic_cohort.places import PROGRAMME_NAME, Place, places, shares
from synthetic_cohort.profiles import profile_toml
from synthetic_cohort.site_programme import Guests, write_site
from synthetic_cohort.table_parts import Parts, write_table
from synthetic_cohort.truth_columns import NOTICE, readme
from synthetic_cohort.visits import FIRST_DAY, quarter_day

Progress = Callable[[int, int, str], None]


def generate(
    folder: Path,
    *,
    readings: int = 60_000,
    sites: int = 24,
    quarters: int = 8,
    seed: int = 20250101,
    faults: bool | FaultRates = True,
    progress: Progress | None = None,
) -> None:
    """Write a demo programme with `readings` readings: programme.toml, profiles/, inbox/ and truth/.

    faults    False for none, True for realistic rates, or rates of one's own.
    progress  called with (sites done, sites, what) after each site.

    A folder that already holds a demo programme has these four replaced; its store and releases stay.
    Same arguments, same bytes. Errors: ValueError for a size that makes no programme, FileExistsError for a
    folder that holds something else.
    """
    if readings < 1:
        raise ValueError(f"{readings} readings; a programme has at least 1")
    rates = faults if isinstance(faults, FaultRates) else FaultRates() if faults else NO_FAULTS
    all_places = places(sites, quarters)
    _clear(folder)
    _write_settings(folder, all_places)
    plan = plan_file_faults(stream(seed, "file faults"), all_places, quarters, rates)
    _write_sites(folder, all_places, shares(all_places, readings), quarters, seed, rates, plan, progress)


def _write_sites(folder, all_places, readings_of, quarters, seed, rates, plan, progress) -> None:
    readings, people = Parts(folder / "truth" / "readings"), Parts(folder / "truth" / "people")
    small: dict[str, list] = {"faults": [], "sites": [], "analysers": [], "files": []}
    guests: Guests | None = None
    first_number = 0
    for place, count in zip(all_places, readings_of, strict=True):
        site_truth, guests = write_site(
            folder,
            place,
            quarters=quarters,
            readings=count,
            first_number=first_number,
            seed=seed,
            rates=rates,
            file_faults={
                quarter: fault for (number, quarter), fault in plan.items() if number == place.number
            },
            guests=guests,
            has_neighbour=_has_neighbour(place, all_places),
            keep_readings=readings.add,
        )
        people.add(site_truth.people)
        for name, frames in small.items():
            frames.append(getattr(site_truth, name))
        first_number += count  # a site has at most as many people as readings
        if progress:
            progress(place.number + 1, len(all_places), place.name)
    readings.flush()
    people.into_one_file(folder / "truth" / "people.parquet")
    for name, frames in small.items():
        write_table(frames, folder / "truth" / f"{name}.parquet")
    (folder / "truth" / "README.md").write_text(readme(), encoding="utf-8")


def _has_neighbour(place: Place, all_places: list[Place]) -> bool:
    """A person can be seen at the next site too when it is open from as early, uses the programme's own numbers
    as this one does, and writes times as this one does."""
    if place.number + 1 >= len(all_places):
        return False
    next_place = all_places[place.number + 1]
    here, there = LAYOUTS[place.layout], LAYOUTS[next_place.layout]
    return (
        here.scope == there.scope == "programme"
        and here.has_times == there.has_times
        and next_place.first_quarter <= place.first_quarter
    )


def _clear(folder: Path) -> None:
    settings = folder / "programme.toml"
    is_demo = settings.exists() and NOTICE in settings.read_text(encoding="utf-8", errors="replace")
    if folder.exists() and not is_demo and any(folder.iterdir()):
        raise FileExistsError(
            f"{folder} holds something that is not a demo programme; name a new or empty folder"
        )
    for name in ("inbox", "profiles", "truth"):
        shutil.rmtree(folder / name, ignore_errors=True)
        (folder / name).mkdir(parents=True)


def _started(place: Place) -> str:
    """When the programme began, for a site that was measured before."""
    if place.programme_quarter == place.first_quarter:
        return ""
    return f"started = {FIRST_DAY + np.timedelta64(quarter_day(place.programme_quarter), 'D')}\n"


def _write_settings(folder: Path, all_places: list[Place]) -> None:
    blocks = [
        f"# {NOTICE}\n# Made by synthetic_cohort; what is true of it stands in truth/README.md.\n"
        f'name = "{PROGRAMME_NAME}"\nperiod = "quarter"\n\n'
        "# of adults who start at a BMI of 25 or over, the share hoped to lose 5 % of their weight or more\n"
        "[outcomes.target]\nmonths = 12\nshare_losing_5_percent = 0.25\n"
    ]
    for place in all_places:
        blocks.append(
            f'[[site]]\nid = "{place.id}"\nname = "{place.name}"\nkind = "{place.kind}"\n'
            f'profile = "profiles/{place.layout}.toml"\n{_started(place)}'
        )
    (folder / "programme.toml").write_text("\n".join(blocks), encoding="utf-8")
    for layout in sorted({place.layout for place in all_places}):
        (folder / "profiles" / f"{layout}.toml").write_text(profile_toml(LAYOUTS[layout]), encoding="utf-8")
