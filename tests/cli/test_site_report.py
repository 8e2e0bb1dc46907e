"""A site's own page on its files: every held line is there with what to do, and nothing runs. Mechanics."""

from __future__ import annotations

import html
import re

import pytest

from pipeline.cli import main
from pipeline.feedback.site_page import write_feedback


def words_of(path):
    return html.unescape(re.sub(r"<[^>]+>", " ", path.read_text(encoding="utf-8")))


@pytest.fixture
def one_site(tmp_path):
    """A programme with a script for a name, and of one site: a sound row, one without sex, one with markup in it."""
    main(["init", str(tmp_path / "p"), "--name", "<script>alert(1)</script>"])
    (tmp_path / "p" / "inbox" / "first-site" / "a.csv").write_text(
        "participant,measured_on,sex,age,height,weight\n"
        "7,2025-03-31,F,40,165,65.0\n8,2025-03-31,,40,165,65.0\n9,2025-03-31,F,40,165,<b>\n"
    )
    main(["run", str(tmp_path / "p"), "--as-of", "2025-04-15"])
    return tmp_path / "p"


def test_each_held_line_stands_under_its_reason_with_what_was_expected(one_site):
    [page] = write_feedback(one_site, ["first-site"])
    words = words_of(page)
    assert "Required value missing: sex (1 line)" in words
    assert re.search(r"a\.csv\s+3\s+sex\s+nothing\s+a value: the field is required", words)
    assert re.search(r"3\s+rows read|rows read\s+3", words)


def test_received_text_is_shown_and_never_runs(one_site):
    [page] = write_feedback(one_site, [])
    text = page.read_text(encoding="utf-8")
    assert "<script" not in text and "&lt;script&gt;alert(1)" in text


def test_a_site_whose_rows_were_all_taken_is_told_so(tmp_path):
    main(["init", str(tmp_path / "p")])
    (tmp_path / "p" / "inbox" / "first-site" / "a.csv").write_text(
        "participant,measured_on,sex,age,height,weight\n7,2025-03-31,F,40,165,65.0\n"
    )
    main(["run", str(tmp_path / "p"), "--as-of", "2025-04-15"])
    [page] = write_feedback(tmp_path / "p", [])
    assert "Nothing: every row of your files was taken" in words_of(page)


def test_rows_of_people_who_withdrew_are_told_by_file_and_in_all(one_site):
    inbox = one_site / "inbox" / "first-site"
    (inbox / "a.csv").write_text((inbox / "a.csv").read_text() + "10,2025-03-31,M,50,175,80.0\n")
    main(["run", str(one_site), "--as-of", "2025-04-15"])
    [before] = write_feedback(one_site, ["first-site"])
    assert "withdrawn" not in words_of(before)
    (one_site / "number.txt").write_text("10\n")
    assert main(["withdraw", str(one_site), "--from", str(one_site / "number.txt"), "--as-of", "2025-04-15"]) == 0
    [page] = write_feedback(one_site, ["first-site"])
    words = words_of(page)
    assert re.search(r"withdrawn by their people\s+1", words)
    account = re.split(r"Replaced\s+Withdrawn", words)[1]
    by_file = [row.split()[-1] for row in re.findall(r"a\.csv\s+taken([\s\d]+)", account)]
    assert by_file == ["0", "1"]  # received twice: its second sending brought the row


def test_a_page_for_every_site_of_a_programme(small_run, capsys):
    assert main(["report", str(small_run.folder)]) == 0
    told = capsys.readouterr()
    assert told.out.count("wrote ") == 5 and told.out.splitlines()[-1].startswith("open ")
    assert "not for publication" in told.err
    with small_run.store() as store:
        for site, held in store.rows("select site, sum(rows_held) from ledger.file group by site"):
            words = words_of(small_run.folder / "reports" / site / "index.html")
            told_lines = sum(int(n) for n in re.findall(r"\((\d+) lines?\)", words))
            assert told_lines == held


def test_an_unknown_site_is_refused_with_the_nearest(one_site, capsys):
    assert main(["report", str(one_site), "--site", "frist-site"]) == 2
    assert "did you mean first-site?" in capsys.readouterr().err


def test_before_the_first_run_there_is_nothing_to_report(tmp_path, capsys):
    main(["init", str(tmp_path / "p")])
    assert main(["report", str(tmp_path / "p")]) == 1
    assert "no run yet" in capsys.readouterr().err
