"""Files that are written alike are read in one statement; rows, lines and faults are those of each file by itself."""

import pytest
from invented_site import PROFILE, House, csv

from pipeline.intake import received
from pipeline.intake.readers import delimited_fast
from pipeline.intake.readers.delimited_fast import Layout, PlainLines
from pipeline.store import Store

ROWS = [f"m{n},2025-02-{n % 27 + 1:02},F,{20 + n},165.0,{60 + n}.0" for n in range(40)]
COLUMNS = ("participant", "measured_on", "sex", "age", "height", "weight")
LAYOUT = Layout(COLUMNS, ",", '"', 1)


def plain(path, content, layout=LAYOUT):
    path.write_text(content, encoding="utf-8")
    return PlainLines(path, layout, content.count("\n") + (not content.endswith("\n")))


def rows_at(store, place):
    return store.rows(
        "select line, participant, weight from received where file = $place order by line", {"place": place}
    )


def read(tmp_path, files, threads=2):
    """Places that were read, and the rows at every place."""
    with Store.open(None, threads=threads, may_read=[tmp_path]) as store:
        received.begin_pass(store)
        done = delimited_fast.read(store, files)
        return done, {place: rows_at(store, place) for place in files}


def expected(rows, header_row=1):
    return [
        (line, row.split(",")[0], row.split(",")[5]) for line, row in enumerate(rows, start=header_row + 1)
    ]


@pytest.mark.parametrize("threads", [1, 2, 4])
def test_each_row_stands_under_its_file_and_line(tmp_path, threads):
    parts = {1: ROWS[:3], 2: ROWS[3:4], 5: ROWS[4:30], 6: ROWS[30:]}
    files = {place: plain(tmp_path / f"{9 - place}.csv", csv(*rows)) for place, rows in parts.items()}
    done, found = read(tmp_path, files, threads)
    assert done == {1, 2, 5, 6}
    assert found == {place: expected(rows) for place, rows in parts.items()}


def test_long_files_keep_their_lines_on_several_threads(tmp_path):
    """Longer than what DuckDB's reader takes at once."""
    rows = [f"m{n},2025-02-03,F,35,165.0,{n}.0" for n in range(60_000)]
    parts = {place: rows[place * 9_000 :] for place in (1, 2, 3)}
    done, found = read(
        tmp_path, {place: plain(tmp_path / f"{place}.csv", csv(*part)) for place, part in parts.items()}
    )
    assert done == {1, 2, 3} and found == {place: expected(part) for place, part in parts.items()}


def test_files_of_different_layouts_are_told_apart(tmp_path):
    below = "exported by the club\n\n" + csv(*ROWS[:2])
    files = {
        1: plain(tmp_path / "a.csv", csv(*ROWS[2:5])),
        2: plain(tmp_path / "b.csv", below, Layout(COLUMNS, ",", '"', 3)),
        3: plain(tmp_path / "c.csv", csv(*ROWS[5:]).replace(",", ";"), Layout(COLUMNS, ";", '"', 1)),
    }
    done, found = read(tmp_path, files)
    assert done == {1, 2, 3}
    assert found == {1: expected(ROWS[2:5]), 2: expected(ROWS[:2], header_row=3), 3: expected(ROWS[5:])}


def test_the_same_copy_of_two_sites_is_read_twice(tmp_path):
    """Sites may send the same bytes; of these one copy is kept, from which a store is made anew."""
    one = plain(tmp_path / "a.csv", csv(*ROWS))
    done, found = read(tmp_path, {1: one, 2: one})
    assert done == {1, 2} and found == {1: expected(ROWS), 2: expected(ROWS)}


@pytest.mark.parametrize(
    "inexact",
    [
        csv(ROWS[0], "", ROWS[1]),  # a blank line
        csv(ROWS[0], ",,,,,", ROWS[1]),  # a row of empty cells
        csv('m1,2025-02-03,F,"35\n",165.0,65.0', ROWS[1]),  # a line end within quotes
    ],
)
def test_of_a_file_whose_lines_are_not_its_rows_nothing_stays(tmp_path, inexact):
    files = {
        1: plain(tmp_path / "a.csv", csv(*ROWS[:3])),
        2: plain(tmp_path / "b.csv", inexact),
        3: plain(tmp_path / "c.csv", csv(*ROWS[3:])),
    }
    done, found = read(tmp_path, files)
    assert 1 in done and 2 not in done
    assert found[1] == expected(ROWS[:3]) and found[2] == []
    assert found[3] == (expected(ROWS[3:]) if 3 in done else [])


def test_a_file_that_the_strict_reader_refuses_leaves_nothing_of_any(tmp_path):
    files = {
        1: plain(tmp_path / "a.csv", csv(*ROWS)),
        2: plain(tmp_path / "b.csv", csv(ROWS[0], "m2,2025-02-03")),
    }
    assert read(tmp_path, files) == (set(), {1: [], 2: []})


def test_a_file_of_headers_alone_is_read_and_has_no_row(tmp_path):
    files = {1: plain(tmp_path / "a.csv", csv()), 2: plain(tmp_path / "b.csv", csv(*ROWS))}
    assert read(tmp_path, files) == ({1, 2}, {1: [], 2: expected(ROWS)})


FILES = {
    "a.csv": csv(*ROWS[:5]),
    "b.csv": csv(ROWS[5], "", ROWS[6].replace("165.0", "tall"), ROWS[7]),
    "c.csv": csv(ROWS[8], "m99,2025-02-03", ROWS[9]),
    "d.csv": csv(),
    "e.csv": csv(
        *(f"{name},2025-02-03,F,35,165.0,65.0" for name in ("Anna Berg", "Olaf Tide", "Mia Quay", "Ole Reed"))
    ),
    "f.csv": csv(*ROWS[10:]),
    "g.csv": csv(*ROWS[:2]).replace("\n", "\r\n"),
    "h.csv": csv(*ROWS[3:5]).encode("utf-16"),
}


def accounts(house):
    files = house.store.rows(
        "select name, state, reason_code, rows_read, rows_accepted, rows_held, rows_duplicate, rows_superseded "
        "from ledger.file order by name"
    )
    held = house.store.rows(
        "select name, line, codes from ledger.held_row join ledger.file using (file_id) order by all"
    )
    rows = house.store.rows(
        "select name, line, weight_kg from reading.accepted join ledger.file using (file_id) order by all"
    )
    return files, held, rows


def test_one_pass_and_one_file_after_the_other_give_the_same_accounts(tmp_path):
    """Between sound files: blank and broken lines, no rows, names, other line ends and encodings."""
    found = []
    for way in ("together", "apart"):
        (tmp_path / way).mkdir()
        house = House(tmp_path / way)
        house.profile(PROFILE)
        for name, content in FILES.items():
            house.put(name, content)
            if way == "apart":
                house.receive()
        house.receive()
        found.append(accounts(house))
        kept = {path.name for path in (tmp_path / way / "store" / "archive").glob("??/*") if path.is_file()}
        found[-1] += (kept,)
        house.store.close()
    assert found[0] == found[1]
    states = {name: (state, code) for name, state, code, *_ in found[0][0]}
    assert states["a.csv"] == states["b.csv"] == states["c.csv"] == states["f.csv"] == ("accepted", None)
    assert states["d.csv"] == ("held", "no_rows") and states["e.csv"] == ("refused", "direct_identifier")
    assert states["h.csv"] == ("accepted", None)
