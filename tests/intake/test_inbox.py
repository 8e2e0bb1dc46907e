"""Which files are read, and what is said of the others."""

import os

import pytest
from invented_site import SITE, csv

ROW = "m1,2025-02-03,F,35,165.0,65.0"


def test_a_file_in_a_sites_folder_is_received(house):
    house.put("a.csv", csv(ROW))
    summary = house.receive()
    assert (summary.files_accepted, summary.rows_accepted, summary.messages) == (1, 1, [])


def test_an_unknown_site_folder_is_named_with_the_nearest_site(house):
    house.put("a.csv", csv(ROW), site="north-key")
    summary = house.receive()
    assert summary.files_accepted == 0
    assert f"no site north-key; did you mean {SITE}?" in summary.messages[0]


def test_an_empty_unknown_folder_is_no_news(house):
    (house.folder / "inbox" / "spare").mkdir()
    assert house.receive().messages == []


def test_a_stray_file_beside_the_sites_is_reported(house):
    (house.folder / "inbox" / "a.csv").write_text(csv(ROW))
    summary = house.receive()
    assert summary.files_accepted == 0 and "inbox/a.csv" in summary.messages[0]


def test_hidden_temporary_and_unfinished_names_wait_with_a_word(house):
    for name in (".~lock.a.csv#", "a.csv.part", "b.tmp", "~$c.xlsx"):
        house.put(name, csv(ROW))
    summary = house.receive()
    assert (summary.files_accepted, len(summary.messages)) == (0, 4)


def test_what_stands_where_nothing_is_read_is_counted_and_what_waits_is_not(house):
    house.put("a.csv", csv(ROW), site="north-key")
    (house.folder / "inbox" / "b.csv").write_text(csv(ROW))
    house.put("c.csv.part", csv(ROW))
    house.put(".hidden/d.csv", csv(ROW))
    summary = house.receive()
    assert (summary.passed_over, len(summary.messages)) == (2, 4)
    house.put("e.csv", csv(ROW))
    assert house.receive().passed_over == 2


def test_a_clean_inbox_passes_nothing_over(house):
    house.put("a.csv", csv(ROW))
    assert house.receive().passed_over == 0


def test_names_that_would_repaint_the_screen_stand_as_their_codes(house):
    house.put("a.csv", csv(ROW), site="no\x1b[2Jrth\u202e")
    house.put("b\x1b[2J\u202e.csv", csv(ROW, ROW.replace("165.0", "tall")))
    house.put("c\x1b[2J\u202e.csv", csv(ROW.replace("65.0", "heavy")))
    house.put("d\x1b[2J\u202e.csv", csv("1,2", header="x\x1b,y\u202e"))
    house.put("e.csv", csv(ROW + ",x", header="Member,Date,Sex,Age,Ht,Wt,name\x1b[2J\u202e"))
    house.put("f.csv", csv(ROW.replace("m1", "m7"), ROW.replace("65.0", "6\x1b[2m")))
    summary = house.receive()
    assert (len(summary.messages), len(summary.row_messages)) == (4, 2)
    for message in summary.messages + summary.row_messages:
        assert all(character.isprintable() or character == "\n" for character in message)
    assert "no\\u001b[2Jrth\\u202e" in summary.messages[0]


def test_a_name_that_is_no_utf_8_is_read_like_any_other(house):
    house.put(os.fsdecode(b"a\xff.csv"), csv(ROW))
    house.put("b.csv", csv(ROW.replace("m1", "m2")))
    assert house.receive().rows_accepted == 2
    assert house.files("name") == ["a\\udcff.csv", "b.csv"]


def test_a_name_with_signs_of_a_pattern_stands_for_that_file_and_no_other(house):
    """Browsers write a[1].csv; to a reader of patterns that is a1.csv."""
    names = ["a1.csv", "a[1].csv", "b*.csv", "bx.csv", "c?.csv", "cx.csv", "d\\[1].csv", "e[]f.csv", "[g]/h*.csv"]
    names += ["g/h.csv", "x/weight=99/a.csv", "y=2024/i.csv", "plain.csv.gz"]
    for weight, name in enumerate(names, start=50):
        house.put(name, csv(ROW.replace("m1", f"m{weight}").replace("65.0", f"{weight}.0")))
    assert house.receive().files_accepted == len(names)
    found = house.store.rows(
        "select name, weight_kg from reading.accepted join ledger.file using (file_id) order by weight_kg"
    )
    assert found == [(name, float(weight)) for weight, name in enumerate(names, start=50)]


@pytest.mark.parametrize("name", ["x/weight=99/a.csv", "y=2024/a.csv", "file=7/a.csv", "plain.csv.gz", "a.csv.zst"])
def test_a_name_says_nothing_of_what_a_file_holds(house, name):
    """Alone in its pass, where readers of folders of data would take columns and packing from names."""
    house.put(name, csv(ROW))
    assert house.receive().files_accepted == 1
    assert house.accepted("weight_kg", "line") == [(65.0, 2)]


def test_a_symbolic_link_is_not_followed(house, tmp_path):
    outside = tmp_path / "outside.csv"
    outside.write_text(csv(ROW))
    (house.folder / "inbox" / SITE / "a.csv").symlink_to(outside)
    summary = house.receive()
    assert summary.files_accepted == 0 and "a symbolic link" in summary.messages[0]


def test_files_in_subfolders_are_read_under_their_path(house):
    house.put("2025/q1.csv", csv(ROW))
    house.receive()
    assert house.files("name") == ["2025/q1.csv"]


def test_without_an_inbox_nothing_is_received_and_it_is_said(house):
    (house.folder / "inbox" / SITE).rmdir()
    (house.folder / "inbox").rmdir()
    assert "no inbox" in house.receive().messages[0]


def test_progress_names_each_file_and_ends_at_the_total(house):
    from datetime import date, datetime

    from pipeline.intake import receive
    from pipeline.programme import Programme

    house.put("a.csv", csv(ROW))
    house.put("b.csv", csv(ROW, ROW.replace("m1", "m2")))
    seen = []
    receive(
        house.store,
        Programme.read(house.folder),
        as_of=date(2025, 6, 30),
        received_at=datetime(2025, 6, 30),
        run_id=1,
        progress=lambda *one: seen.append(one),
    )
    assert seen == [(0, 2, f"{SITE}/a.csv"), (1, 2, f"{SITE}/b.csv"), (2, 2, "all files read")]
