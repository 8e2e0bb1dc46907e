"""One invented site's export in every format: names, dates of birth and all, and the profile to seal it with."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

import polars as pl
import xlsxwriter

sys.path.insert(0, str(Path(__file__).parents[1] / "intake"))

HEADERS = ["Surname", "E-mail", "Member", "Measured", "Sex", "Height", "Weight", "DOB", "Remarks", "Machine"]
PEOPLE = [
    [
        "Dent",
        "arthur@example.org",
        "4711",
        date(2025, 2, 3),
        "M",
        180.0,
        80.5,
        date(1984, 2, 29),
        "late",
        "A1",
    ],
    ["Beeblebrox", "", "4712", date(2025, 2, 3), "F", 170.5, 65.25, date(2012, 5, 4), "met Mr Dent", "A1"],
    ["Dent", "", "4711", date(2025, 3, 1), "M", 180.0, 79.9, date(1984, 2, 29), "", "A2"],
]
SECRETS = ("Dent", "Beeblebrox", "example.org", "4711", "4712", "1984", "2012-05", "late")
SEALED = [  # but for the pseudonyms
    ["2025-02-03", "M", "40", "180", "80.5", "A1"],
    ["2025-02-03", "F", "12", "170.5", "65.25", "A1"],
    ["2025-03-01", "M", "41", "180", "79.9", "A2"],
]
KEY = bytes(range(7, 39))


def profile_text(head: str, *, date_format: str | None = None, age: str = "years") -> str:
    written = f', format = "{date_format}"' if date_format else ""
    return (
        f"{head}\n[columns]\n"
        'participant = { header = "Member" }\n'
        f'measured_on = {{ header = "Measured"{written} }}\n'
        'sex = { header = "Sex", codes = { M = "male", F = "female" } }\n'
        'height = { header = "Height" }\nweight = { header = "Weight" }\ndevice = { header = "Machine" }\n'
        f'[seal]\ndate_of_birth = {{ header = "DOB"{written} }}\nage = "{age}"\n'
    )


def written(folder: Path, kind: str) -> tuple[Path, Path]:
    """An export and its profile: csv (cp1252, semicolons, decimal comma), tsv (UTF-16), ndjson, xlsx or parquet."""
    folder.mkdir(parents=True, exist_ok=True)
    path, profile = folder / f"export.{kind}", folder / "site.toml"
    if kind in ("csv", "tsv"):
        sign, point = (";", ",") if kind == "csv" else ("\t", ".")
        rows = [[_text(cell, "%d.%m.%Y", point) for cell in row] for row in PEOPLE]
        text = "\r\n".join(sign.join(row) for row in [HEADERS, *rows]) + "\r\n"
        path.write_bytes(text.replace("late", "spät").encode("cp1252" if kind == "csv" else "utf-16"))
        head = 'format = "csv"\ndelimiter = ";"\ndecimal = ","' if kind == "csv" else 'format = "tsv"'
        profile.write_text(profile_text(head, date_format="%d.%m.%Y"), encoding="utf-8")
        return path, profile
    if kind == "ndjson":
        lines = [dict(zip(HEADERS, map(_json, row), strict=True)) for row in PEOPLE]
        path.write_text("\n".join(map(json.dumps, lines)) + "\n", encoding="utf-8")
    elif kind == "xlsx":
        with xlsxwriter.Workbook(path, {"default_date_format": "dd/mm/yyyy"}) as book:
            sheet = book.add_worksheet()
            for n, row in enumerate([HEADERS, *PEOPLE]):
                sheet.write_row(n, 0, row)
    else:
        pl.DataFrame(PEOPLE, schema=HEADERS, orient="row").write_parquet(path)
    profile.write_text(profile_text(f'format = "{kind}"'), encoding="utf-8")
    return path, profile


def _text(cell: object, date_format: str, point: str = ".") -> str:
    if isinstance(cell, date):
        return cell.strftime(date_format)
    return f"{cell:g}".replace(".", point) if isinstance(cell, float) else str(cell)


def _json(cell: object) -> object:
    if isinstance(cell, date):
        return cell.isoformat()
    return int(cell) if isinstance(cell, float) and cell.is_integer() else cell
