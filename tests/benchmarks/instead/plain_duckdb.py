"""Figures of the kind that a run makes, fewer of them, in DuckDB alone and without what makes a run safe.

Received files are kept under their digest; cells are read as text, so that a broken one costs its row and not the
file; values have a range; participants become keyed hashes; a person counts once a quarter; bands are counted, and
percentiles and means taken of every measure by site, quarter, sex and age group with their totals. No identifiers are
looked for, no fields compared with each other, no repeated or late reading is found, no figure has an interval, nothing
is protected, nothing can be added to it later, and no page is written: a run cannot take less than this.
"""

import hashlib
import sys
from pathlib import Path

import duckdb

COLUMNS = (
    "participant", "measured", "sex", "age", "height", "weight", "clothes", "athlete", "analyser", "fat_percent", "fat",
    "fat_free", "muscle", "water", "water_percent", "bone", "basal", "metabolic_age", "visceral", "bmi", "pulse",
    "cardio",
)  # fmt: skip
RANGES = {
    "height": (80, 230), "weight": (10, 300), "clothes": (0, 10), "fat_percent": (1, 75), "fat": (0.2, 200),
    "fat_free": (8, 140), "muscle": (5, 130), "water": (5, 110), "water_percent": (20, 80), "bone": (0.3, 8),
    "basal": (400, 5000), "metabolic_age": (5, 120), "visceral": (1, 59), "bmi": (7, 100), "pulse": (25, 220),
    "cardio": (0, 60),
}  # fmt: skip
MEASURES = tuple(name for name in RANGES if name not in ("height", "clothes", "pulse", "cardio"))
PERCENTILES = [0.03, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.97]


def kept(folder: Path) -> None:
    """A copy of each received file under its digest."""
    archive = folder / "plain" / "archive"
    archive.mkdir(parents=True, exist_ok=True)
    for file in sorted(folder.glob("inbox/*/*.csv")):
        content = file.read_bytes()
        (archive / hashlib.sha256(content).hexdigest()).write_bytes(content)


def main(folder: Path) -> None:
    kept(folder)
    connection = duckdb.connect(
        str(folder / "plain" / "readings.duckdb"), config={"memory_limit": "3GB", "preserve_insertion_order": False}
    )
    values = ", ".join(
        f"case when try_cast({name} as double) between {low} and {high} then {name}::double end as {name}"
        for name, (low, high) in RANGES.items()
    )
    connection.execute(
        f"""
        create table reading as
        with said as (
            select *, split_part(filename, '/', -2) as site
            from read_csv($files, columns = $types, header = true, delim = ',', quote = '"', auto_detect = false,
                strict_mode = true, filename = true)
        ),
        person as (
            select participant, sha256('outer' || unhex(sha256('inner' || participant)))[:32] as pseudonym
            from (select distinct participant from said)
        )
        select
            site, pseudonym, try_strptime(measured, '%d/%m/%Y %H:%M') as measured_at, sex,
            try_cast(age as smallint) as age, athlete, analyser, {values}
        from said join person using (participant)
        """,
        {"files": f"{folder}/inbox/*/*.csv", "types": dict.fromkeys(COLUMNS, "varchar")},
    )
    connection.execute(
        """
        create table counted as
        select *, year(measured_at) * 4 + quarter(measured_at) as quarter, age // 10 * 10 as decade
        from reading
        where weight is not null and height is not null and age between 5 and 99
        qualify row_number() over (partition by pseudonym, year(measured_at), quarter(measured_at)
            order by measured_at desc) = 1
        """
    )
    groups = (
        "grouping sets ((site, quarter, sex, decade), (site, quarter, sex), (site, quarter, decade), (site, quarter), "
        "(quarter, sex, decade), (quarter, sex), (quarter, decade), (quarter))"
    )
    connection.execute(
        f"""
        create table band as
        select site, quarter, sex, decade, count(*) as n,
            {", ".join(f"count(*) filter (where weight * 10000 / (height * height) < {edge}) as under_{edge}"
                       for edge in (18, 25, 30, 35, 40))},
            {", ".join(f"avg({name}) as {name}, var_samp({name}) as {name}_variance" for name in MEASURES)}
        from counted group by {groups}
        """
    )
    rows = 0
    for name in MEASURES:
        connection.execute(
            f"create table percentile_of_{name} as select site, quarter, sex, decade, count({name}) as n, "
            f"quantile_cont({name}, {PERCENTILES}) as percentiles from counted group by {groups}"
        )
        rows += len(PERCENTILES) * connection.execute(f"select count(*) from percentile_of_{name}").fetchone()[0]
    people = connection.execute("select count(*) from counted").fetchone()[0]
    print(rows, "percentiles of", people, "people-quarters")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
