"""Seeded hostile inputs: well-formed files of every format broken at random, and files made of the worst of each part.

Each case is a pure function of its number, so that a finding can be made again: `case_of(number)`.
"""

from __future__ import annotations

import gzip
import io
import json
import random
import zipfile
from dataclasses import dataclass, replace
from functools import cache

import polars as pl
import xlsxwriter

HEADERS = ("Member", "Date", "Sex", "Age", "Ht", "Wt", "Fat", "Machine")
FIELDS = ("participant", "measured_on", "sex", "age", "height", "weight", "body_fat_percent", "device")
COLUMNS = "[columns]\n" + "".join(
    f'{field} = {{ header = "{header}" }}\n' for field, header in zip(FIELDS, HEADERS, strict=True)
)
DELIMITERS = {"csv": ",", "semicolon": ";", "bar": "|", "tsv": "\t"}
ENCODINGS = (
    "utf-8",
    "utf-8-sig",
    "cp1252",
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "utf-32",
    "shift_jis",
    "mac_roman",
)

# What a cell can hold that some layer below might take for more than text.
CELLS = (
    "", " ", "-", "NA", "null", "0", "-0", "1e999999", "1e400", "-1e308", "9" * 400, "0x10", "inf", "nan", "1_000",
    "12,5", "1.234.567,8", "٣٤", "７０", "½", "72.5kg", "5'4\"", "5ft", "9999-12-31", "0000-00-00", "2025-02-30",
    "10000-01-01", "2025-01-01T99:99:99Z", "=1+1", "=HYPERLINK(\"http://x\")", "+1", "@SUM(A1)", "\tx", "-2+3",
    "<script>alert(1)</script>", "'; drop table reading.accepted; --", "\" or 1=1", "${7*7}", "{{7*7}}", "#show: 1",
    "\x00", "a\x00b", "\x01", "\x1b[2J", "\u202e123", "12\u200b34", "\u2066x\u2069", "e\u0301", "é", "\ufeff",
    "\u3164", "\ufe0f", "\ud7ff", "\U0010ffff", "\U0001f4a9", "x" * 300, "x" * 5000, "../../etc/passwd", "C:\\con",
    "anna@example.org", "M", "F", "male", "True", "1", "44", "170", "70.5", "2025-03-04", "a,b;c|d\te", '"', '""',
    "a\nb", "a\r\nb", "\r", "\u2028", "\x85", "\x0b\x0c", "Anna Schmidt", "\u0130", "ß", "ﬁ",
)  # fmt: skip
TOKENS = (
    *(cell.encode("utf-8", "ignore") for cell in CELLS),
    b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"\x1f\x8b\x08", b"PK\x03\x04", b"PAR1", b"\xc0\x80", b"\xed\xa0\x80",
    b"\xff" * 8, b"\x00" * 16, b"\xff\xff\xff\x7f", b"\n" * 40, b"\r" * 7, b'"' * 5, b"," * 300, b"{" * 200,
    b"[" * 3000, b'{"a":' * 1500, b'"\\ud800"', b"&lol;", b"]]>", b'<c r="XFD1048576"><v>1</v></c>',
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One hostile input: the format it claims, its bytes, the profile it comes with, and the door it comes to."""

    kind: str
    content: bytes
    profile: str
    door: str = ""


def case_of(number: int, kinds: tuple[str, ...] | None = None) -> Case:
    """Case number `number`: the same for ever, whatever was drawn before it."""
    rng = random.Random(f"hostile {number}")
    kind = rng.choices(*zip(*((k, w) for k, w in _WEIGHTS.items() if not kinds or k in kinds), strict=True))[
        0
    ]
    case = _MAKERS[kind](rng)
    return replace(case, door=rng.choices(*zip(*_DOORS[kind].items(), strict=True))[0])


# ---- breaking bytes ----------------------------------------------------------------------------------------


def broken(rng: random.Random, content: bytes, most: int = 4) -> bytes:
    """One to `most` random changes."""
    for _ in range(rng.randint(1, most)):
        place = rng.randrange(len(content) + 1)
        end = min(len(content), place + rng.choice((1, 1, 2, 4, 8, 30, 200)))
        content = rng.choice(_CHANGES)(rng, content, place, end)
    return content[:200_000]


def _flip(rng: random.Random, content: bytes, place: int, end: int) -> bytes:
    changed = bytes(byte ^ (1 << rng.randrange(8)) for byte in content[place:end])
    return content[:place] + changed + content[end:]


_CHANGES = (
    _flip,
    lambda rng, c, p, e: c[:p] + rng.choice(TOKENS) + c[p:],
    lambda rng, c, p, e: c[:p] + rng.choice(TOKENS) + c[e:],
    lambda rng, c, p, e: c[:p] + c[e:],
    lambda rng, c, p, e: c[:p] + c[p:e] * rng.choice((2, 3, 50)) + c[e:],
    lambda rng, c, p, e: c[:p] if rng.random() < 0.3 else c[p:] if rng.random() < 0.1 else c,
    lambda rng, c, p, e: c[:p] + rng.randbytes(e - p) + c[e:],
    lambda rng, c, p, e: c[:p] + bytes([rng.choice((0, 1, 127, 128, 254, 255))]) * (e - p) + c[e:],
)


# ---- rows --------------------------------------------------------------------------------------------------


def _rows(rng: random.Random, rows: int, nasty: float) -> list[list[str]]:
    found = []
    for n in range(rows):
        plain = [f"{1000 + n}", "2025-03-04", "FM"[n % 2], f"{20 + n}", "170.5", f"{60 + n}.5", "23.4", "A1"]
        found.append([rng.choice(CELLS) if rng.random() < nasty else cell for cell in plain])
    return found


def _headers(rng: random.Random) -> list[str]:
    headers = list(HEADERS)
    if rng.random() < 0.15:
        place = rng.randrange(len(headers))
        headers[place] = rng.choice((*CELLS, headers[0], headers[place].lower(), f" {headers[place]}\u200b"))
    if rng.random() < 0.05:
        headers += [rng.choice(HEADERS) for _ in range(rng.choice((1, 3, 600)))]
    return headers


def _quoted(cell: str, delimiter: str, rng: random.Random) -> str:
    if any(sign in cell for sign in (delimiter, '"', "\n", "\r")) and rng.random() < 0.9:
        return '"' + cell.replace('"', '""') + '"'
    return cell


def _delimited(rng: random.Random) -> Case:
    name, delimiter = rng.choice(list(DELIMITERS.items()))
    nasty, end = rng.choice((0, 0.02, 0.3)), rng.choice(("\n", "\r\n", "\r"))
    lines = [_headers(rng), *_rows(rng, rng.choice((0, 1, 3, 12, 250)), nasty)]
    text = end.join(delimiter.join(_quoted(cell, delimiter, rng) for cell in line) for line in lines)
    encoding = rng.choice(ENCODINGS)
    content = (text + rng.choice((end, ""))).encode(encoding, "replace")
    content = broken(rng, content) if rng.random() < 0.7 else content
    if rng.random() < 0.15:
        content = gzip.compress(content, mtime=0)
        content = broken(rng, content, 2) if rng.random() < 0.6 else content
        content = gzip.compress(content, mtime=0) if rng.random() < 0.05 else content
    head = f'format = "{"tsv" if name == "tsv" else "csv"}"\n' + (
        f'delimiter = "{delimiter}"\n' if name in ("semicolon", "bar") else ""
    )
    if rng.random() < 0.2:
        head += f'encoding = "{rng.choice((*ENCODINGS, "zip", "utf-7", "idna", "x" * 50))}"\n'
    if rng.random() < 0.1:
        head += f"header_row = {rng.choice((2, 3, 100))}\n"
    if rng.random() < 0.1:
        head += 'quote = ""\n' if rng.random() < 0.5 else 'quote = "\'"\n'
    return Case("delimited", content, head + COLUMNS)


# ---- JSON --------------------------------------------------------------------------------------------------

_VALUES = (
    *CELLS,
    0,
    -1,
    1e308,
    10**400,
    True,
    False,
    None,
    [],
    {},
    [[1]],
    {"a": {"b": [1, "x"]}},
    {"value": 1},
)


def _ndjson(rng: random.Random) -> Case:
    lines = []
    for row in _rows(rng, rng.choice((0, 1, 3, 20, 230)), rng.choice((0, 0.02, 0.3))):
        value = dict(zip(_headers(rng) if rng.random() < 0.05 else HEADERS, row, strict=False))
        while rng.random() < 0.2:
            value[rng.choice((*HEADERS, *CELLS))] = rng.choice(_VALUES)
        line = json.dumps(value, ensure_ascii=rng.random() < 0.5)
        line = line.replace(
            '"170.5"',
            rng.choice(("170.5", "1e999999999999", "1E-999999999", "1e5", "-0.0", "NaN", '"\\ud83d"')),
        )
        lines.append(line)
    if rng.random() < 0.1:
        lines.insert(
            0, rng.choice(("[", "[" * 5000, '{"a":' * 990 + "1" + "}" * 990, "null", '"x"', '{"a":1,"a":2}'))
        )
    return _json_case(rng, "ndjson", "\n".join(lines), 'format = "ndjson"\n' + COLUMNS)


def _observation(rng: random.Random, n: int, code: str, value: object, unit: str) -> dict:
    found = {
        "resourceType": "Observation", "status": "final", "subject": {"reference": f"Patient/{n}"},
        "effectiveDateTime": "2025-03-04T08:00:00Z", "code": {"coding": [{"system": "http://loinc.org", "code": code}]},
        "valueQuantity": {"value": value, "system": "http://unitsofmeasure.org", "code": unit},
    }  # fmt: skip
    while rng.random() < 0.15:
        holder = rng.choice((found, found["valueQuantity"], found["code"], found["subject"]))
        if isinstance(holder, dict):
            holder[rng.choice((*holder, "name", "component", "valueString", "note", "contained"))] = (
                rng.choice(_VALUES)
            )
    return found


def _fhir(rng: random.Random) -> Case:
    resources: list[object] = []
    for n in range(rng.choice((0, 1, 3, 30))):
        resources.append(
            {"resourceType": "Patient", "id": str(n), "gender": rng.choice(("female", "male", "x", 1, None))}
        )
        for code, value, unit in (
            ("8302-2", 170.5, "cm"),
            ("29463-7", 70.5, "kg"),
            ("30525-0", 44, "a"),
            ("41982-0", 23.4, "%"),
        ):
            resources.append(
                _observation(rng, n, code, rng.choice(_VALUES) if rng.random() < 0.05 else value, unit)
            )
    lines = [json.dumps(one, ensure_ascii=rng.random() < 0.5) for one in resources]
    if rng.random() < 0.1:
        depth, (opening, closing) = (
            rng.choice((30, 60, 400, 900)),
            rng.choice((("[", "]"), ('{"extension":[', "]}"))),
        )
        lines.append(f'{{"resourceType":"Observation","note":{opening * depth}1{closing * depth}}}')
    text = "\n".join(lines)
    return _json_case(rng, "fhir", text, 'format = "fhir"\n')


def _json_case(rng: random.Random, kind: str, text: str, profile: str) -> Case:
    content = text.encode("utf-8", "replace")
    content = broken(rng, content) if rng.random() < 0.6 else content
    return Case(kind, gzip.compress(content, mtime=0) if rng.random() < 0.1 else content, profile)


# ---- typed files -------------------------------------------------------------------------------------------


@cache
def _workbook() -> dict[str, bytes]:
    buffer, rng = io.BytesIO(), random.Random(1)
    with xlsxwriter.Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    ) as book:
        sheet = book.add_worksheet("Readings")
        for n, row in enumerate([list(HEADERS), *_rows(rng, 12, 0.1)]):
            for place, cell in enumerate(row):
                number = place in (3, 4, 5, 6) and n and cell.replace(".", "").isdecimal() and cell.isascii()
                sheet.write_number(n, place, float(cell[:6])) if number else sheet.write_string(
                    n, place, cell.replace("\x00", "")
                )
    with zipfile.ZipFile(buffer) as parts:
        return {name: parts.read(name) for name in parts.namelist()}


def _xlsx(rng: random.Random) -> Case:
    parts, buffer = dict(_workbook()), io.BytesIO()
    if rng.random() < 0.7:
        name = rng.choice(["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/workbook.xml", *parts])
        parts[name] = broken(rng, parts[name])
    if rng.random() < 0.1:
        parts.pop(rng.choice(list(parts)))
    with zipfile.ZipFile(
        buffer, "w", rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2))
    ) as made:
        for name, content in parts.items():
            made.writestr(
                rng.choice((name, name, name, f"../{name}")) if rng.random() < 0.02 else name, content
            )
    content = buffer.getvalue()
    content = broken(rng, content, 2) if rng.random() < 0.4 else content
    sheet = f"sheet = {json.dumps(rng.choice(('Readings', 'None', '<x>')))}\n" if rng.random() < 0.2 else ""
    return Case("xlsx", content, f'format = "xlsx"\n{sheet}{COLUMNS}')


@cache
def _tables() -> tuple[bytes, ...]:
    rng, found = random.Random(2), []
    for compression in ("uncompressed", "snappy", "zstd", "gzip"):
        rows = _rows(rng, 40, 0.1)
        frame = pl.DataFrame(dict(zip(HEADERS, zip(*rows, strict=True), strict=True)))
        frame = frame.with_columns(
            pl.col("Ht").cast(pl.Float64, strict=False), pl.col("Age").cast(pl.Int32, strict=False)
        )
        frame = frame.with_columns(Nested=pl.struct("Sex", "Fat"), Listed=pl.concat_list("Sex", "Fat"))
        buffer = io.BytesIO()
        frame.write_parquet(buffer, compression=compression, row_group_size=16)
        found.append(buffer.getvalue())
    return tuple(found)


def _parquet(rng: random.Random) -> Case:
    content = rng.choice(_tables())
    length = int.from_bytes(content[-8:-4], "little")
    if rng.random() < 0.6:  # the footer says where everything is and how much of it
        start = len(content) - 8 - length
        footer = broken(rng, content[start:-8], 3)
        said = length if rng.random() < 0.1 else len(footer)
        content = content[:start] + footer + said.to_bytes(4, "little") + b"PAR1"
    else:
        content = content[:4] + broken(rng, content[4:-8], 3) + content[-8:]
    return Case("parquet", content, f'format = "parquet"\n{COLUMNS}')


# ---- settings ----------------------------------------------------------------------------------------------

_PROFILE = """\
format = "csv"
encoding = "utf-8"
delimiter = ";"
quote = "'"
decimal = ","
thousands = "."
header_row = 1
missing = ["-", "NA"]
[columns]
participant = { header = "Member", scope = "site" }
measured_on = { header = "Date", format = "%d.%m.%Y" }
sex = { header = "Sex", codes = { W = "female", M = "male" } }
height = { header = "Ht", unit = "m", written_units = true }
weight = { header = "Wt", unit = "lb", resolution = 0.2 }
[constants]
age = 44
device = "A1"
"""
_PROGRAMME = """\
name = "Harbour District"
period = "quarter"
locale = "de-CH"
[bandings]
adult_bmi = "who"
[disclosure]
minimum_count = 10
[ages]
groups = [[20, 39], [40, 59]]
[limits]
memory = "1GB"
threads = 1
columns = 100
[retention]
files = "18 months"
[outcomes]
same_visit_hours = 12
[[outcomes.follow_up]]
months = 6
tolerance_days = 45
[[site]]
id = "north-quay"
name = "North Quay"
profile = "profile.toml"
started = 2024-10-01
"""
_TOML_VALUES = (
    "1", "-1", "0", "1e400", "inf", "nan", "9" * 5000, "0x7fffffffffffffff", "true", "[]", "[[]]", "{}", '""',
    '"\\u0000"', '"../../../../etc/passwd"', '"/dev/zero"', '"<script>"', '"\\u202e"', '"%d%m%Y%d"', '"%q%d%m%Y"',
    '"%d/%m/%Y %H:%M:%S.%f"', '"%"', '["%d%m%Y", "%m%d%Y", "%y%m%d", "%j%d%m%Y"]', "2024-10-01",
    "9999-12-31T00:00:00Z", "[" * 400 + "]" * 400, '{ header = "Member" }', '{ header = "Ht", unit = "kg" }', '"é"',
    '"ab"', '"\\t"', '"\\n"', "'\"'", '"who-asian"', '"csv"', '"fhir"', '"xlsx"', '"de-CH"', '"xx-YY"', '"a" ',
    "1e-320", "[[5, 19], [20, 99]]", '"10000 years"', '"99999 years"',
)  # fmt: skip


def _settings(rng: random.Random, text: str) -> str:
    lines = text.splitlines()
    for _ in range(rng.randint(1, 3)):
        place = rng.randrange(len(lines))
        key, equals, _ = lines[place].partition(" = ")
        choice = rng.random()
        if equals and choice < 0.5:
            lines[place] = f"{key} = {rng.choice(_TOML_VALUES)}"
        elif equals and "{" in lines[place] and choice < 0.6:
            inner = rng.choice(
                ("header", "unit", "format", "codes", "written_units", "resolution", "scope", "x")
            )
            lines[place] = (
                f'{key} = {{ header = "Wt", {inner if inner != "header" else "unit"} = {rng.choice(_TOML_VALUES)} }}'
            )
        elif choice < 0.7:
            lines.pop(place)
        elif choice < 0.8:
            lines.insert(place, lines[rng.randrange(len(lines))])
        else:
            lines[place] = broken(rng, lines[place].encode(), 1).decode("utf-8", "replace").replace("\n", " ")
        lines = lines or [""]
    return "\n".join(lines) + "\n"


def _profile(rng: random.Random) -> Case:
    rows = "Member;Date;Sex;Ht;Wt\n17;04.03.2025;W;1,70;155\n18;05.03.2025;M;5'4\";x\n"
    return Case("profile", rows.encode(), _settings(rng, _PROFILE))


def _programme(rng: random.Random) -> Case:
    return Case("programme", _settings(rng, _PROGRAMME).encode("utf-8", "surrogateescape"), _PROFILE)


_MAKERS = {
    "delimited": _delimited,
    "ndjson": _ndjson,
    "fhir": _fhir,
    "xlsx": _xlsx,
    "parquet": _parquet,
    "profile": _profile,
    "programme": _programme,
}
_WEIGHTS = {
    "delimited": 30,
    "ndjson": 14,
    "fhir": 12,
    "xlsx": 8,
    "parquet": 6,
    "profile": 18,
    "programme": 12,
}
# read: a reader as far as the rows; intake: all the way into the store, which costs ten times as much
_FILE_DOORS = {"read": 63, "seal": 28, "inspect": 6, "intake": 3}
_DOORS = {
    **dict.fromkeys(("delimited", "ndjson", "xlsx", "parquet"), _FILE_DOORS),
    "fhir": {"read": 84, "inspect": 12, "intake": 4},
    "profile": {"profile": 60, "seal_profile": 37, "intake": 3},
    "programme": {"programme": 1},
}
