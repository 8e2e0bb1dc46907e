"""CSV and TSV: the fast and the tolerant way give the same table, and the line is the one an editor shows."""

import gzip
from pathlib import Path

import pytest
from invented_site import HEADER, PROFILE, csv, profile_of

from pipeline.intake import received
from pipeline.intake.headers import columns_of
from pipeline.intake.readers import delimited_fast, delimited_tolerant, reader_for
from pipeline.programme import Limits
from pipeline.store import Store

ROWS = ("m1,2025-02-03,F,35,165.0,65.0", "m2,2025-02-04,M,41,180.5,82.3", "m3,2025-02-05,F,,,")


@pytest.fixture
def ways(tmp_path):
    """Read one content both ways → (did the fast way take it, fast table, tolerant table, broken lines)."""

    def read(content: str, profile_text: str = PROFILE):
        profile = profile_of(profile_text, tmp_path)
        path = tmp_path / "a.csv"
        path.write_bytes(content.encode())
        reader = reader_for(path, profile, Limits(), where="a.csv")
        look = reader.look(path)
        places = columns_of(profile, look.headers, where="a.csv", most=500)
        lines = content.count("\n") + (not content.endswith("\n"))
        rows = "select * exclude (file) from received order by line"
        with Store.open(None, may_read=[tmp_path]) as store:
            received.begin_pass(store)
            plain = delimited_fast.plain_lines(path, profile, places, len(look.headers), lines=lines)
            is_taken = plain is not None and 1 in delimited_fast.read(store, {1: plain})
            fast = store.rows(rows)
            delimited_tolerant.read(
                store,
                path,
                profile,
                places,
                len(look.headers),
                encoding="utf-8-sig",
                where="a.csv",
                most_characters=1000,
            )
            return is_taken, fast, store.rows(rows), store.rows("select * exclude (file) from broken_line")

    return read


@pytest.mark.parametrize(
    "content",
    [
        csv(*ROWS),
        csv(*ROWS).removesuffix("\n"),
        csv(*ROWS).replace("\n", "\r\n"),
        "\ufeff" + csv(*ROWS),
        csv('"m,1",2025-02-03,"F",35,"165.0",65.0', 'say ""m2"",2025-02-04,M,41,5\'4",82.3'),
        csv('"m ""1""",2025-02-03,F,35,165.0,65.0', " m2 ,2025-02-04,M,41, 180.5 ,82.3"),
        csv(*ROWS, header=HEADER + ",Note")
        .replace("65.0\n", "65.0,\n")
        .replace("82.3\n", "82.3,x\n")
        .replace("F,,,\n", "F,,,,\n"),
    ],
)
def test_both_ways_give_the_same_table_of_a_clean_file(ways, content):
    is_taken, fast, tolerant, broken = ways(content)
    assert is_taken and fast == tolerant and len(fast) > 0 and broken == []


def test_a_preamble_is_passed_over_and_lines_still_count_from_the_top(ways):
    profile = PROFILE.replace('format = "csv"', 'format = "csv"\nheader_row = 3')
    is_taken, fast, tolerant, _ = ways("Exported by the club\n\n" + csv(*ROWS), profile)
    assert [row[0] for row in tolerant] == [4, 5, 6]
    assert not is_taken or fast == tolerant


@pytest.mark.parametrize(
    ("content", "lines"),
    [
        (csv(ROWS[0], "", ROWS[1]), [2, 4]),  # a blank line
        (csv(ROWS[0], ",,,,,", ROWS[1]), [2, 4]),  # a row of empty cells
        (csv('m1,2025-02-03,F,"35\n",165.0,65.0', ROWS[1]), [2, 4]),  # a line end within quotes
        (csv(ROWS[0], ROWS[1]).replace("\n", "\r"), [2, 3]),  # old line ends
    ],
)
def test_where_lines_are_not_rows_the_tolerant_way_keeps_the_editors_line(house, content, lines):
    house.put("a.csv", content)
    house.receive()
    assert house.accepted("line") == lines


def test_a_cut_off_last_line_is_held_and_the_rest_accepted(house):
    house.put("a.csv", csv(ROWS[0], ROWS[1]) + "m4,2025-02-0")
    summary = house.receive()
    assert house.held() == [(4, ["row_cut_off"])]
    assert house.counts() == [(3, 2, 1, 0, 0)]
    assert "found 2 fields; expected 6 fields" in summary.row_messages[0]


def test_a_row_with_a_field_too_many_is_held_and_none_of_its_cells_repeated(house):
    house.put("a.csv", csv(ROWS[0], "Ann,Smith,2025-02-04,F,30,160,60"))
    summary = house.receive()
    assert house.held() == [(3, ["too_many_fields"])]
    assert "Smith" not in "".join(summary.messages + summary.row_messages)
    assert house.store.rows("select received from ledger.held_row") == [("{}",)]


def test_a_quote_that_never_closes_spoils_its_own_line_only(house):
    house.put("a.csv", csv(ROWS[0], '"m2,2025-02-04,M,41,180.5,82.3', ROWS[1], ROWS[0].replace("m1", "m9")))
    house.receive()
    assert house.held() == [(3, ["row_cut_off"])]
    assert house.accepted("line") == [2, 4, 5]


def test_tsv_and_another_delimiter_and_no_quotes(house):
    house.profile(PROFILE.replace('format = "csv"', 'format = "tsv"\nquote = ""'))
    house.put("a.tsv", csv(ROWS[0]).replace(",", "\t").replace("m1", '"m1'))
    assert house.receive().rows_accepted == 1


@pytest.mark.parametrize("name", ["a.csv.gz", "a.csv"])
def test_gzip_is_known_by_its_bytes_whatever_the_name(house, name):
    house.put(name, gzip.compress(csv(*ROWS[:2]).encode()))
    assert house.receive().rows_accepted == 2


def test_a_damaged_gzip_file_is_held(house):
    house.put("a.csv.gz", gzip.compress(csv(*ROWS[:2]).encode())[:-9])
    house.receive()
    assert house.files("state", "reason_code") == [("held", "damaged")]


def test_headers_alone_hold_the_file_and_one_row_is_enough(house):
    house.put("a.csv", HEADER + "\n")
    house.put("b.csv", csv(ROWS[0]))
    house.receive()
    assert house.files("state", "reason_code") == [("held", "no_rows"), ("accepted", None)]


def test_a_gzip_bomb_stops_at_the_limit(house):
    settings = Path(house.folder / "programme.toml")
    settings.write_text(
        settings.read_text().replace("[[site]]", "[limits]\nunpacked_bytes = 100000\n[[site]]", 1)
    )
    house.put("a.csv", gzip.compress((csv(*ROWS) + "\n" * 200_000).encode()))
    house.receive()
    assert house.files("reason_code") == ["file_too_large"]


def test_a_spreadsheet_under_a_csv_profile_is_named_for_what_it_is(house):
    house.put("a.csv", b"PK\x03\x04 and the rest")
    summary = house.receive()
    assert "found an xlsx file; expected csv" in summary.messages[0]
