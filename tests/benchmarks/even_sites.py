"""A programme of many like sites for benchmarks of time: both sexes, all ages and all quarters at every one.

The demo's sites are schools, gyms and clinics, begin at different times and write ten formats; grouped work over them
would look too cheap, and nothing else could read their files. Here every site writes the same CSV layout with every
measure, a file a quarter. No faults: the files can then be read with known types.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

from synthetic_cohort import generate
from synthetic_cohort.places import Place, places

QUARTERS = 8
LAYOUT = "full-day-first"
LATER = "later"  # beside the inbox: the files of the last nights


def _even(sites: int, quarters: int) -> list[Place]:
    return [
        replace(place, kind="community", layout=LAYOUT, first_quarter=0, programme_quarter=0, size=1.0)
        for place in places(sites, quarters)
    ]


def write_programme(folder: Path, readings: int, sites: int, *, later: float = 0.01) -> None:
    """Write the programme with `readings` readings; the last `later` of each site wait in a file beside the inbox."""
    shutil.rmtree(folder, ignore_errors=True)
    with patch.object(generate, "places", _even):
        generate.generate(folder, readings=readings, sites=sites, quarters=QUARTERS, faults=False)
    shutil.rmtree(folder / "truth")
    for site in sorted((folder / "inbox").iterdir()):
        files = sorted(site.iterdir())
        header, *rows = files[-1].read_text(encoding="utf-8").splitlines(keepends=True)  # in the order of time
        held_back = min(max(1, round(later * readings / sites)), len(rows) - 1)
        files[-1].write_text("".join([header, *rows[:-held_back]]), encoding="utf-8")
        after = folder / LATER / site.name
        after.mkdir(parents=True)
        (after / "2026-01-02.csv").write_text("".join([header, *rows[-held_back:]]), encoding="utf-8")


def write_settings(folder: Path, sites: int) -> None:
    """Write the programme's settings and the profile of all its sites, and no files."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    generate._clear(folder)
    generate._write_settings(folder, _even(sites, QUARTERS))


def last_files_arrive(folder: Path) -> int:
    """Move the files that were held back into the inbox; returns how many."""
    moved = 0
    for file in sorted((folder / LATER).glob("*/*.csv")):
        file.rename(folder / "inbox" / file.parent.name / file.name)
        moved += 1
    return moved
