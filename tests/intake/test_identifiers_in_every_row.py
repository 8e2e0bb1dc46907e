"""Identifiers far below the first rows, in other sheets, among participants: found, and nothing is kept."""

from __future__ import annotations

import importlib
import random
import re

import polars as pl
import pytest
import xlsxwriter
from invented_site import HEADER, PROFILE, csv

from pipeline.intake.national_numbers import CHECKED, are_national_numbers
from pipeline.seal.full_names import are_named_participants, are_remarks_on_named_people

HEADERS = [*HEADER.split(","), "Remark"]
NAMES = ["Zaphod Beeblebrox", "Ford Prefect", "Arthur Dent", "Lewis Prosser", "Tricia McMillan", "Agda Gorm"]


def rows(n: int, remark: str = "") -> list[list]:
    return [[f"m{k}", "2025-02-03", "F", 35, 165.5, 65.0, remark] for k in range(n)]


def workbook(house, table, *, more=None, comment=None, link=None, name="a.xlsx", preamble=()):
    path = house.folder / "inbox" / "north-quay" / name
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Readings")
        for n, row in enumerate([*preamble, HEADERS, *table]):
            sheet.write_row(n, 0, row)
        if comment:
            sheet.write_comment("A2", comment)
        if link:
            sheet.write_url("I1", link, string="desk")
        if more:
            book.add_worksheet("Other").write(9, 3, more)


def parquet(house, table, columns=HEADERS):
    pl.DataFrame(table, schema=columns, orient="row").write_parquet(
        house.folder / "inbox" / "north-quay" / "a.parquet", row_group_size=100
    )


def refused(house) -> str:
    summary = house.receive()
    assert (summary.files_refused, summary.files_accepted, house.archived()) == (1, 0, []), summary.messages
    assert list((house.folder / "store").rglob("*.part")) == []
    return summary.messages[0]


@pytest.mark.parametrize("place", [0, 199, 200, 900])
@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_an_address_in_any_row_of_a_typed_file_names_column_and_line(house, kind, place):
    house.profile(PROFILE.replace('"csv"', f'"{kind}"'))
    table = rows(901)
    table[place][6] = "write to ann@example.org please"
    (workbook if kind == "xlsx" else parquet)(house, table)
    line = f", line {place + (2 if kind == 'xlsx' else 1)}"
    said = refused(house)
    assert f"found column Remark{line}: e-mail address (by its content)" in said and "example.org" not in said


@pytest.mark.parametrize(
    ("where", "shown"),
    [
        ({"more": "ann@example.org"}, "(another sheet of the workbook)"),
        ({"comment": "ask ann@example.org"}, "(a comment or link of the workbook)"),
        ({"link": "mailto:ann@example.org"}, "(a comment or link of the workbook)"),
    ],
)
def test_an_address_anywhere_in_a_workbook_refuses_it(house, where, shown):
    house.profile(PROFILE.replace('"csv"', '"xlsx"'))
    workbook(house, rows(3), **where)
    assert f"column {shown}: e-mail address" in refused(house)


def test_an_address_above_the_headers_of_a_sheet_names_nobody_measured(house):
    house.profile(PROFILE.replace('"csv"', '"xlsx"').replace("[columns]", "header_row = 2\n[columns]"))
    workbook(house, rows(3), preamble=[["Exported by desk@example.org"]])
    assert house.receive().rows_accepted == 3
    workbook(house, rows(300, "ann@example.org"), preamble=[["Exported by desk@example.org"]], name="b.xlsx")
    assert house.receive().files_refused == 1


@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_a_sign_alone_in_a_typed_file_is_no_address(house, kind):
    house.profile(PROFILE.replace('"csv"', f'"{kind}"'))
    (workbook if kind == "xlsx" else parquet)(house, rows(300, "3 x 10 @ 60.5 kg @home"))
    assert house.receive().rows_accepted == 300


@pytest.mark.parametrize(
    "names", [NAMES, [name.upper() for name in NAMES], ["Dent", "Gorm", "Prosser", "Prefect", "Smith"]]
)
def test_names_instead_of_participants_numbers_refuse_the_file(house, names):
    house.put("a.csv", csv(*(f"{name},2025-02-03,F,35,165.0,65.0" for name in names)))
    said = refused(house)
    assert "column Member: name of a person (by its content)" in said and names[0] not in said


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_two_full_names_among_a_thousand_numbers_refuse_the_file_and_one_does_not(house, kind):
    house.profile(PROFILE.replace('"csv"', f'"{kind}"'))
    table = rows(1000)
    table[700][0], table[950][0] = NAMES[:2]

    def put():
        if kind == "csv":
            house.put("a.csv", csv(*(",".join(map(str, row)) for row in table), header=",".join(HEADERS)))
        else:
            (workbook if kind == "xlsx" else parquet)(house, table)

    put()
    refused(house)
    table[950][0] = "Grand Total"  # a footer's words; and one name alone is let pass
    put()
    assert house.receive().rows_accepted == 1000


def test_numbers_and_codes_are_no_names_of_participants():
    for values in (
        [f"m{n}" for n in range(9)],
        ["AB", "CD", "EF", "GH", "KL"],
        ["abc", "xyz", "kqr", "ppt", "mno"],
        ["QX-A", "QX-B", "QX-C", "QX-D", "QX-E"],
        ["Total", "1", "2", "3", "4", "5"],
        ["North Quay", "East Pier", "South Basin", "West Dock", "Harbour Hall"],
        ["Participant", "Member"],
    ):
        assert not are_named_participants(values), values


def test_an_identifier_that_begins_below_the_first_rows_is_seen_in_the_spread(house):
    numbers = [f"+44 20 7946 0{n % 1000:03d}" for n in range(4000)]
    lines = [f"m{n},2025-02-03,F,35,165.0,65.0,{numbers[n] if n > 250 else ''}" for n in range(4000)]
    house.put("a.csv", csv(*lines, header=",".join(HEADERS)))
    assert "column Remark: telephone number (by its content)" in refused(house)


@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_the_spread_of_a_typed_file_too(house, kind):
    house.profile(PROFILE.replace('"csv"', f'"{kind}"'))
    table = rows(2000)
    for n in range(250, 2000):
        table[n][6] = f"19{50 + n % 50}-03-{1 + n % 28:02d}"
    (workbook if kind == "xlsx" else parquet)(house, table)
    assert "column Remark: date of birth (by its content)" in refused(house)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "cp1252"])
def test_the_spread_is_read_in_the_files_encoding(house, encoding):
    lines = [
        f"m{n},2025-02-03,F,35,165.0,65.0,{f'+44 20 7946 {n:04d}' if n > 250 else 'ü'}" for n in range(4000)
    ]
    house.put("a.csv", csv(*lines, header=",".join(HEADERS)).encode(encoding))
    assert "column Remark: telephone number" in refused(house)


# Numbers are made up to pass their check, as python-stdnum 2.2 has it.
def test_national_numbers_are_known_by_their_check_digits():
    from stdnum.gb import nhs

    made = [
        f"{n}{_nhs_digit(str(n))}" for n in range(401_023_200, 401_023_240) if _nhs_digit(str(n)) is not None
    ]
    assert len(made) > 30 and all(nhs.is_valid(value) for value in made)
    assert are_national_numbers(made[:8]) and not are_national_numbers(made[:7])
    assert not are_national_numbers([str(n) for n in range(4_010_232_000, 4_010_232_040)])


# python-stdnum 2.2: the examples in its documentation that pass, and random digits, of which about one in ten do.
@pytest.mark.parametrize("name", sorted(CHECKED))
def test_what_passes_a_check_is_as_long_as_is_said_beside_the_check(name):
    module, chance = importlib.import_module(f"stdnum.{name}"), random.Random(name)
    examples = re.findall(r">>> validate\('([^']*)'\)[^\n]*\n(?!Traceback)", module.__doc__)
    digits = ["".join(chance.choices("0123456789", k=length)) for length in range(6, 35) for _ in range(100)]
    passing = [value for value in (*examples, *digits) if module.is_valid(value)]
    assert passing and set(examples) <= set(passing)
    assert {sum(map(str.isalnum, value)) for value in passing} <= set(CHECKED[name])


def _nhs_digit(nine: str) -> int | None:
    """NHS Data Dictionary, "NHS NUMBER": weights 10 to 2, modulus 11; from memory."""
    left = 11 - sum(int(digit) * (10 - n) for n, digit in enumerate(nine)) % 11
    return None if left == 10 else left % 11


@pytest.mark.parametrize(
    "values",
    [
        [f"AB {n} {n} {n} C" for n in range(10, 20)],  # UK national insurance
        [f"1{n}-12-34{n}" for n in range(11, 25)],  # US
    ],
)
def test_forms_without_a_check_digit_as_they_are_written(values):
    assert are_national_numbers(values)
    assert not are_national_numbers([value.replace("-", "").replace(" ", "")[1:] for value in values])


def test_national_numbers_as_participants_numbers_refuse_the_file(house):
    made = [
        f"{n}{_nhs_digit(str(n))}" for n in range(401_023_200, 401_023_240) if _nhs_digit(str(n)) is not None
    ]
    house.put("a.csv", csv(*(f"{number},2025-02-03,F,35,165.0,65.0" for number in made)))
    assert "column Member: national, insurance or passport number" in refused(house)


def test_remarks_that_name_people_by_title():
    remarks = ["spoke to Mrs Dent", "ask Dr. Prosser", "late", "Herr Gorm war da", "tired"]
    assert are_remarks_on_named_people(remarks)
    assert not are_remarks_on_named_people(remarks[:3])
    assert not are_remarks_on_named_people(
        ["Dr North Street", "Mr Gym", "Frau Halle", "Ms Centre", "drank Dr"]
    )


def test_a_refused_file_can_be_sent_again_clean(house):
    house.put("a.csv", csv(*(f"{name},2025-02-03,F,35,165.0,65.0" for name in NAMES)))
    assert house.receive().files_refused == 1
    house.put("a.csv", csv("m1,2025-02-03,F,35,165.0,65.0"))
    assert house.receive().files_accepted == 1
