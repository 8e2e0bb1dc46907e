"""XLSX, NDJSON and Parquet: typed cells arrive as the profile would have written them, and lines are those seen."""

import json
from datetime import date, datetime
from io import BytesIO

import polars as pl
import pytest
import xlsxwriter
from invented_site import HEADER, PROFILE

HEADERS = HEADER.split(",")
COMMA = PROFILE.replace('"csv"', '"FORMAT"\ndecimal = ","\nthousands = "."').replace(
    '"Date"', '"Date", format = "%d/%m/%Y"'
)


def sheet(*rows, name="Data", first_row=0):
    """An XLSX file's bytes; dates and moments become date cells."""
    content = BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        page = book.add_worksheet(name)
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        for place, row in enumerate(rows, start=first_row):
            for column, cell in enumerate(row):
                if isinstance(cell, date):
                    page.write_datetime(place, column, cell, day)
                elif cell is not None:
                    page.write(place, column, cell)
    return content.getvalue()


def ndjson(*rows):
    return "".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows)


def parquet(**columns):
    content = BytesIO()
    pl.DataFrame(columns).write_parquet(content)
    return content.getvalue()


def test_a_sheet_of_typed_cells(house):
    house.profile(PROFILE.replace('"csv"', '"xlsx"'))
    house.put(
        "a.xlsx",
        sheet(
            HEADERS,
            [1001, date(2025, 2, 3), "F", 35, 165.5, 65],
            ["1002", datetime(2025, 2, 3, 14, 30), "M", 41.9, "180.5", "82.3"],
        ),
    )
    assert house.receive().rows_accepted == 2
    assert house.accepted("line", "measured_at::varchar", "age", "height_cm", "weight_kg") == [
        (2, "2025-02-03 00:00:00", 35, 165.5, 65.0),
        (3, "2025-02-03 14:30:00", 41, 180.5, 82.3),
    ]


def test_number_cells_are_not_garbled_by_a_decimal_comma(house):
    house.profile(COMMA.replace("FORMAT", "xlsx") + 'basal_metabolic_rate = { header = "BMR" }\n')
    house.put(
        "a.xlsx",
        sheet(
            [*HEADERS, "BMR"],
            ["m1", date(2025, 2, 3), "F", 35, 165.125, "65,5", 1512.125],
            ["m2", "04/02/2025", "F", 35, "165,5", 65.5, "1.512,5"],
            ["m3", "04/02/2025", "F", 35, "165.5", 65.5, None],
        ),
    )
    house.receive()
    assert house.accepted(
        "measured_on::varchar", "height_cm", "weight_kg", "basal_metabolic_rate_kcal_d"
    ) == [("2025-02-03", 165.125, 65.5, 1512.125), ("2025-02-04", 165.5, 65.5, 1512.5)]
    assert house.held() == [(4, ["unreadable:height"])]  # a text with a point is no number of this site


def test_the_line_is_the_sheets_row_with_preamble_and_blank_rows(house):
    house.profile(PROFILE.replace('"csv"', '"xlsx"\nheader_row = 4\nsheet = "Data"'))
    row = ["m1", date(2025, 2, 3), "F", 35, 165.5, 65]
    house.put(
        "a.xlsx",
        sheet(
            ["A club"],
            [],
            HEADERS,
            row,
            [],
            ["m2", *row[1:]],
            ["Total", None, None, None, None, 130],
            first_row=1,
        ),
    )
    house.receive()
    assert house.accepted("line") == [5, 7]
    assert house.held() == [(8, ["not_a_reading"])]


def test_another_sheet_is_named_with_those_there_are(house):
    house.profile(PROFILE.replace('"csv"', '"xlsx"\nsheet = "Readings"'))
    house.put("a.xlsx", sheet(HEADERS))
    assert "found sheets Data; expected a sheet 'Readings'" in house.receive().messages[0]


@pytest.mark.parametrize("content", [b"PK\x03\x04", b"PK\x03\x04" + b"x" * 500, sheet(HEADERS)[:-200]])
def test_a_damaged_sheet_is_held(house, content):
    house.profile(PROFILE.replace('"csv"', '"xlsx"'))
    house.put("a.xlsx", content)
    house.receive()
    assert house.files("state", "reason_code") == [("held", "damaged")]


def test_a_sheet_that_unpacks_too_far_is_held(house):
    settings = house.folder / "programme.toml"
    settings.write_text(settings.read_text().replace("[[site]]", "[limits]\nunpacked_bytes = 20000\n[[site]]", 1))
    house.profile(PROFILE.replace('"csv"', '"xlsx"'))
    row = ["m1", date(2025, 2, 3), "F", 35, 165.5, 65]
    house.put("a.xlsx", sheet(HEADERS, *[row] * 400))
    house.receive()
    assert house.files("reason_code") == ["file_too_large"]


def test_json_numbers_words_and_nulls(house):
    house.profile(
        PROFILE.replace('"csv"', '"ndjson"')
        + 'athlete_mode = { header = "Ath" }\n'
        + 'body_fat_percent = { header = "Fat" }\n'
    )
    house.put(
        "a.ndjson",
        ndjson(
            {
                "Member": 1001,
                "Date": "2025-02-03",
                "Sex": "F",
                "Age": 35,
                "Ht": 165.5,
                "Wt": 6.5e1,
                "Ath": True,
                "Fat": None,
            },
            {
                "Wt": "65.5",
                "Member": "1002",
                "Date": "2025-02-03",
                "Sex": "M",
                "Age": 35,
                "Ht": 180,
                "Ath": False,
            },
        ),
    )
    house.receive()
    assert house.accepted("height_cm", "weight_kg", "is_athlete_mode", "body_fat_percent") == [
        (165.5, 65.0, True, None),
        (180.0, 65.5, False, None),
    ]


def test_json_numbers_are_not_garbled_by_a_decimal_comma(house):
    house.profile(COMMA.replace("FORMAT", "ndjson"))
    row = {"Member": "m1", "Date": "03/02/2025", "Sex": "F", "Age": 35, "Ht": 165.125, "Wt": "65,5"}
    house.put("a.ndjson", ndjson(row, row | {"Member": "m2", "Ht": "165.5"}))
    house.receive()
    assert house.accepted("height_cm", "weight_kg") == [(165.125, 65.5)]
    assert house.held() == [(2, ["unreadable:height"])]


def test_a_broken_json_line_is_held_and_blank_lines_are_no_rows(house):
    house.profile(PROFILE.replace('"csv"', '"ndjson"'))
    row = {"Member": "m1", "Date": "2025-02-03", "Sex": "F", "Age": 35, "Ht": 165.5, "Wt": 65.5}
    house.put(
        "a.ndjson",
        ndjson(row)
        + "\n"
        + '{"Member": "m2", "Wt": 1, "Wt": 2}\n'
        + ndjson(row | {"Member": "m3"})
        + '{"Member": "m4", "Da',
    )
    house.receive()
    assert house.accepted("line") == [1, 4]
    assert house.held() == [(3, ["too_many_fields"]), (5, ["row_cut_off"])]


def test_an_identifying_key_on_any_line_refuses_the_file(house):
    house.profile(PROFILE.replace('"csv"', '"ndjson"'))
    row = {"Member": "m1", "Date": "2025-02-03", "Sex": "F", "Age": 35, "Ht": 165.5, "Wt": 65.5}
    house.put("a.ndjson", ndjson(*[row] * 300, row | {"Surname": "x"}))
    assert house.receive().files_refused == 1 and house.archived() == []


def test_one_json_array_is_told_from_lines(house):
    house.profile(PROFILE.replace('"csv"', '"ndjson"'))
    house.put("a.ndjson", json.dumps([{"Member": "m1"}], indent=1))
    assert "found one JSON array" in house.receive().messages[0]


COLUMNS = {
    "Member": ["m1", "m2"],
    "Date": [date(2025, 2, 3), date(2025, 2, 4)],
    "Sex": ["F", "M"],
    "Age": [35.0, 41.0],
    "Ht": [165.5, 180.0],
    "Wt": pl.Series([65.5, 82.3], dtype=pl.Float32),
}


@pytest.mark.parametrize("decimal", [".", ","])
def test_parquet_columns_of_any_type(house, decimal):
    house.profile(PROFILE.replace('"csv"', f'"parquet"\ndecimal = "{decimal}"'))
    house.put("a.parquet", parquet(**COLUMNS))
    house.receive()
    assert house.accepted("line", "measured_on::varchar", "age", "height_cm", "weight_kg") == [
        (1, "2025-02-03", 35, 165.5, 65.5),
        (2, "2025-02-04", 41, 180.0, 82.3),
    ]


def test_a_parquet_file_whose_name_is_a_pattern_is_that_file(house):
    house.profile(PROFILE.replace('"csv"', '"parquet"'))
    house.put("a1.parquet", parquet(**COLUMNS))
    house.put("a[1].parquet", parquet(**COLUMNS | {"Member": ["m3", "m4"]}))
    house.receive()
    assert house.counts() == [(2, 2, 0, 0, 0), (2, 2, 0, 0, 0)]


def test_a_whole_number_column_is_the_same_participant_in_parquet_and_csv(house):
    house.profile(PROFILE.replace('"csv"', '"parquet"'))
    house.put("a.parquet", parquet(**COLUMNS | {"Member": [1001.0, 1002.0]}))
    house.put("b.parquet", parquet(**COLUMNS | {"Member": [1001, 1002]}))
    house.receive()
    assert house.counts() == [(2, 2, 0, 0, 0), (2, 0, 0, 2, 0)]


def test_a_moment_with_a_zone_is_taken_in_utc_on_every_machine(house):
    house.profile(PROFILE.replace('"csv"', '"parquet"'))
    moments = pl.Series([datetime(2025, 2, 3, 23, 30)] * 2).dt.replace_time_zone("Asia/Tokyo")
    house.put("a.parquet", parquet(**COLUMNS | {"Date": moments}))
    house.receive()
    assert house.accepted("measured_at::varchar") == ["2025-02-03 14:30:00"] * 2


def test_columns_that_differ_only_in_letter_case_hold_a_parquet_file(house):
    house.profile(PROFILE.replace('"csv"', '"parquet"'))
    house.put("a.parquet", parquet(**COLUMNS, wt=[1.0, 2.0]))
    house.receive()
    assert house.files("state", "reason_code") == [("held", "header_twice")]


def test_a_damaged_parquet_file_is_held(house):
    house.profile(PROFILE.replace('"csv"', '"parquet"'))
    house.put("a.parquet", parquet(**COLUMNS)[:-20])
    house.receive()
    assert house.files("state", "reason_code") == [("held", "damaged")]
