"""What `evenbeam init` writes: settings, one profile and an inbox that a first site can start from."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.faults import SettingsFault

_SETTINGS = """\
# A programme's settings. Every key is explained in docs/settings.md; an unknown key is refused by name.
name = {name}
period = "quarter"                 # or "month"

[bandings]
adult_bmi = "who"                  # "who-asian" adds the action points of WHO 2004

[disclosure]
minimum_count = 10                 # smaller counts are withheld in everything published
minimum_people_for_percentile = 30

# [retention]                      # how long what can point to a person is kept; docs/releases.md
# files = "18 months"
# readings = "5 years"

[[site]]
id = "first-site"                  # the folder inbox/first-site
name = "First site"
profile = "profiles/first-site.toml"
kind = "gym"                       # gym, clinic, school, workplace, community, other
"""

_PROFILE = """\
# How the files of first-site are written. `evenbeam inspect FILE` proposes one from a real file.
format = "csv"                     # csv, tsv, xlsx, ndjson, parquet; gzip is seen by itself

[columns]
participant = { header = "participant" }          # a number that says nothing of the person; never a name
measured_on = { header = "measured_on", format = "%Y-%m-%d" }
sex         = { header = "sex", codes = { F = "female", M = "male" } }
age         = { header = "age" }                  # unit = "mo" where the file gives months
height      = { header = "height", unit = "cm" }  # or m, in, ft
weight      = { header = "weight", unit = "kg" }  # or lb, st
# Every other field is optional:
# body_fat_percent = { header = "fat", unit = "%" }
# total_body_water_percent = { header = "water", unit = "%" }
"""


def write_first_programme(folder: Path, *, name: str) -> list[Path]:
    """Write a first programme into a new or empty folder; returns the files written.

    Errors   SettingsFault when the folder already holds something.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise SettingsFault(
            "folder not empty",
            where=str(folder),
            expected="a new folder",
            next="name another one; nothing was written",
        )
    texts = {
        folder / "programme.toml": _SETTINGS.format(name=json.dumps(name, ensure_ascii=False)),
        folder / "profiles" / "first-site.toml": _PROFILE,
    }
    for path, text in texts.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    (folder / "inbox" / "first-site").mkdir(parents=True)
    return list(texts)
