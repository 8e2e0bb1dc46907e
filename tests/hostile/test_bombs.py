"""Files that are small and ask for the memory of a whole machine, or are endless: held, each with one message, and the
process that reads them stays small. Mechanics; the sizes asked for stand beside each."""

from __future__ import annotations

import gzip
import json
import re
import subprocess
import sys
import zipfile
from io import BytesIO
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from invented_site import HEADER, PROFILE, House, csv

ROW = "m1,2025-02-03,F,35,165.5,65"
MOST_MEGABYTES = 700  # the libraries alone take about 250
MEASURED = """
import re, sys
sys.path[:0] = [{intake!r}]
from pathlib import Path
from invented_site import House
import invented_site
house = House.__new__(House)
house.folder, house.run_id = Path({folder!r}), 0
house.store = invented_site.Store.open(None, memory_limit="300MB", threads=1, may_read=[house.folder])
summary = house.receive()
peak = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) // 1024
print(len(summary.messages), summary.rows_accepted, peak)
for name, state, code in house.files("name", "state", "coalesce(reason_code, '')"):
    print(name, state, code, sep="|")
"""


def sheet_of(rows: bytes, shared: bytes = b"<si><t>x</t></si>") -> bytes:
    """A workbook whose only sheet has these rows, and these shared texts."""
    plain, made = BytesIO(), BytesIO()
    with xlsxwriter.Workbook(plain, {"in_memory": True}) as book:
        book.add_worksheet().write_string(0, 0, "x")
    space = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    anew = {
        "xl/worksheets/sheet1.xml": b"<worksheet %b><sheetData>%b</sheetData></worksheet>" % (space, rows),
        "xl/sharedStrings.xml": b"%b<sst %b>%b</sst>"
        % (ENTITIES if b"&j;" in shared else b"", space, shared),
    }
    with zipfile.ZipFile(plain) as parts, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as copy:
        for name in parts.namelist():
            copy.writestr(name, anew.get(name, parts.read(name)))
    return made.getvalue()


ENTITIES = b'<!DOCTYPE z [<!ENTITY a "aaaaaaaaaa">' + b"".join(
    b'<!ENTITY %c "%b">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(9)
) + b"]>"  # fmt: skip
FAR_CELLS = b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
ONE_TEXT = b"".join(b'<row r="%d"><c r="A%d" t="s"><v>0</v></c></row>' % (n, n) for n in range(1, 60_001))


def lying_zip() -> bytes:
    """A workbook whose directory says that a sheet of 300 MB is one of 100 bytes."""
    content = sheet_of(b'<row r="1"><c r="A1"><v>1</v></c></row>' + b" " * 300_000_000)
    with zipfile.ZipFile(BytesIO(content)) as parts:
        said = parts.getinfo("xl/worksheets/sheet1.xml").file_size
    return content.replace(said.to_bytes(4, "little"), (100).to_bytes(4, "little"))


def lying_parquet(column: str) -> bytes:
    """A table whose footer says 9 223 372 036 854 775 807 where it means 1000 rows."""
    buffer = BytesIO()
    pl.DataFrame({name: [column] * 1000 for name in HEADER.split(",")}).write_parquet(
        buffer, compression="zstd"
    )
    content = buffer.getvalue()
    start = len(content) - 8 - int.from_bytes(content[-8:-4], "little")
    footer = re.sub(rb"\x16\xd0\x0f", b"\x16\xfe\xff\xff\xff\xff\xff\xff\xff\x7f", content[start:-8])
    return content[:start] + footer + len(footer).to_bytes(4, "little") + b"PAR1"


def gzip_of(path: Path, blocks: int, block: bytes = b"\0" * (1 << 20)) -> bytes:
    with gzip.open(path, "wb", compresslevel=1) as file:
        for _ in range(blocks):
            file.write(block)
    return path.read_bytes()


def made(house: House, tmp_path: Path) -> None:
    """A file in the inbox for each bomb; a site and a profile for each format."""
    lines = f"{ROW},{'x' * 800}\n".encode() * 1000
    with (house.folder / "inbox" / "csv" / "gigabyte-line.csv").open("wb") as file:
        file.write(f"{HEADER}\n{ROW}".encode())
        file.truncate(1_000_000_000)  # sparse: zeros that take no room on the disk
    put = house.put
    put("gigabyte-line.csv.gz", gzip_of(tmp_path / "a.gz", 1000), "csv")  # 1 GB of zeros
    put("gigabyte-of-lines.csv.gz", gzip_of(tmp_path / "b.gz", 300, lines), "csv")  # 250 MB, of 200 allowed
    put("gzip-in-gzip.csv.gz", gzip.compress(gzip.compress(csv(ROW).encode())), "csv")
    put("columns.csv", ",".join(f"c{n}" for n in range(100_000)) + "\n", "csv")
    put("rows.csv", HEADER + "\n" + "\n" * 2_000_000, "csv")  # of 1,000,000 allowed
    put("quotes.csv", HEADER + "\n" + '"x\n' * 100_000, "csv")  # every line opens a quote
    put("null.csv", b"\0" * 5000, "csv")
    put("good.csv", csv(ROW), "csv")
    put("long.ndjson", '{"Member": "' + "x" * 20_000_000, "ndjson")
    put("keys.ndjson", json.dumps({f"k{n}": 1 for n in range(60_000)}), "ndjson")
    put("deep.ndjson", '{"Member":' + "[" * 500_000, "ndjson")
    numbers = {"Member": "m2", "Date": "2025-02-03", "Sex": "F", "Age": 35, "Ht": 165}
    put("number.ndjson", json.dumps(numbers)[:-1] + ', "Wt": 1e999999999}', "ndjson")
    put("far-cells.xlsx", sheet_of(FAR_CELLS), "xlsx")  # 17 billion cells
    put(
        "one-text.xlsx", sheet_of(ONE_TEXT, b"<si><t>%b</t></si>" % (b"x" * 32_000)), "xlsx"
    )  # 1.9 GB of text
    put(
        "entities.xlsx",
        sheet_of(b'<row r="1"><c r="A1" t="s"><v>0</v></c></row>', b"<si><t>&j;</t></si>"),
        "xlsx",
    )
    put("unpacked.xlsx", sheet_of(b" " * 300_000_000), "xlsx")
    put("lying.xlsx", lying_zip(), "xlsx")
    put("lying.parquet", lying_parquet("x"), "parquet")
    wide = BytesIO()
    pl.DataFrame({f"c{n}": ["x"] for n in range(5_000)}).write_parquet(wide)
    put("columns.parquet", wide.getvalue(), "parquet")


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """(messages, rows accepted, peak MB) and file → (state, reason)."""
    folder = tmp_path_factory.mktemp("bombs")
    kinds = ("csv", "ndjson", "xlsx", "parquet")
    house = House(folder, kinds)
    for kind in kinds:
        house.profile(PROFILE.replace('"csv"', f'"{kind}"'), kind)
    settings = folder / "programme.toml"
    limits = '[limits]\nmemory = "300MB"\nunpacked_bytes = 200000000\nrows = 1000000\n[[site]]'
    settings.write_text(settings.read_text().replace("[[site]]", limits, 1))
    made(house, tmp_path_factory.mktemp("made"))
    house.store.close()
    script = MEASURED.format(intake=str(Path(__file__).parents[1] / "intake"), folder=str(folder))
    (folder / "measured.py").write_text(script)
    done = subprocess.run(
        [sys.executable, folder / "measured.py"], capture_output=True, text=True, timeout=300, check=True
    )
    first, *rest = done.stdout.splitlines()
    return [int(part) for part in first.split()], {
        name: (state, code) for name, state, code in (line.split("|") for line in rest)
    }


def test_memory_stays_bounded(found):
    assert found[0][2] < MOST_MEGABYTES


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("gigabyte-line.csv", "line_too_long"), ("gigabyte-line.csv.gz", "line_too_long"),
        ("gigabyte-of-lines.csv.gz", "file_too_large"), ("gzip-in-gzip.csv.gz", "damaged"),
        ("columns.csv", "too_many_columns"), ("rows.csv", "too_many_rows"), ("null.csv", "header_missing"),
        ("long.ndjson", "line_too_long"), ("keys.ndjson", "too_many_columns"), ("deep.ndjson", "no_rows"),
        ("far-cells.xlsx", "file_too_large"), ("one-text.xlsx", "file_too_large"), ("entities.xlsx", "damaged"),
        ("unpacked.xlsx", "file_too_large"), ("lying.xlsx", "damaged"), ("lying.parquet", "too_many_rows"),
        ("columns.parquet", "too_many_columns"),
    ],
)  # fmt: skip
def test_each_is_held_for_what_it_is(found, name, code):
    assert found[1][name] == ("held", code)


def test_of_others_every_line_is_held_and_the_good_file_is_read(found):
    assert found[1]["quotes.csv"] == found[1]["number.ndjson"] == ("held", "every_row_held")
    assert found[1]["good.csv"] == ("accepted", "") and found[0][1] == 1
