"""Files that are being written, replaced or taken away while they are read."""

from __future__ import annotations

import shutil

import nights
import pytest
import soundness

from pipeline.intake import archive, one_file
from pipeline.store import Store


def states(folder):
    with Store.open(folder / "store" / "evenbeam.duckdb", read_only=True) as store:
        return {
            name: (state, code, n)
            for name, state, code, n in store.rows("select name, state, reason_code, rows_accepted from ledger.file")
        }


def while_it_is_read(monkeypatch, what):
    """Do something to each new file between the moment it is hashed and the moment its copy is kept."""
    keep = archive.keep

    def late(path, *arguments, **named):
        what(path)
        return keep(path, *arguments, **named)

    monkeypatch.setattr(one_file.archive, "keep", late)


def grow(path):
    with path.open("a", encoding="utf-8") as file:
        file.write("\n".join(nights.rows(1500, "2025-06-20", 5)) + "\n")


def replace(path):
    other = path.with_name("other.part")
    other.write_text(path.read_text(encoding="utf-8").replace("2025-06-03", "2025-06-05"), encoding="utf-8")
    other.replace(path)


def touch_and_put_back(path):
    """Other bytes for a moment, and the first ones again: the hash alone would not tell."""
    content = path.read_bytes()
    path.write_bytes(content + b"9")
    path.write_bytes(content)


def put_a_link_there(path):
    """A link to a file outside the inbox, with the very same bytes."""
    elsewhere = path.parents[2] / "elsewhere.csv"
    elsewhere.write_bytes(path.read_bytes())
    path.unlink()
    path.symlink_to(elsewhere)
    return elsewhere


def lend_its_place_to_a_link(path):
    aside = path.rename(path.with_name("aside.part"))
    path.symlink_to(aside)
    path.unlink()
    aside.rename(path)


@pytest.mark.parametrize("change", [grow, replace, touch_and_put_back, lend_its_place_to_a_link])
def test_a_file_that_changes_while_it_is_read_waits_for_the_next_run(programme, monkeypatch, change):
    nights.later_arrivals(programme)
    with monkeypatch.context() as patch:
        while_it_is_read(patch, change)
        assert nights.command(nights.RUN, programme)[0] == 3
    assert states(programme)["c.csv"] == ("held", "still_changing", 0)
    assert nights.command(nights.RUN, programme)[0] == 0
    assert states(programme)["c.csv"][:2] == ("accepted", None)
    assert soundness.faults(programme) == []


def test_nothing_is_told_of_a_file_that_a_link_leads_to(programme, monkeypatch):
    """The link is put there between the listing and the reading, and the file behind it has other headers."""
    nights.later_arrivals(programme)
    (programme / "secret.csv").write_text("Swordfish,Other\n1,2\n", encoding="utf-8")
    before = one_file._state_of

    def link_first(path, **named):
        if path.name == "c.csv" and not path.is_symlink():
            path.unlink()
            path.symlink_to(programme / "secret.csv")
        return before(path, **named)

    monkeypatch.setattr(one_file, "_state_of", link_first)
    code, said = nights.command(nights.RUN, programme)
    assert code == 3 and "Swordfish" not in said
    assert "c.csv" not in states(programme) and soundness.faults(programme) == []


def test_a_link_put_there_while_the_file_is_read_is_not_kept(programme, monkeypatch):
    nights.later_arrivals(programme)
    while_it_is_read(monkeypatch, put_a_link_there)
    assert nights.command(nights.RUN, programme)[0] == 3
    assert states(programme).get("c.csv", ("held",))[0] == "held" and soundness.faults(programme) == []


def test_a_file_that_is_taken_away_while_it_is_read_is_held(programme, monkeypatch):
    nights.later_arrivals(programme)
    while_it_is_read(monkeypatch, lambda path: path.unlink())
    assert nights.command(nights.RUN, programme)[0] == 3
    assert "c.csv" not in states(programme) and soundness.faults(programme) == []


def test_half_a_copy_that_stands_still_counts_nobody_twice_when_the_rest_is_there(programme, tmp_path):
    """Nothing tells a copy that stalled from a finished file; the whole one then corrects what its half said."""
    twin = tmp_path / "twin"
    shutil.copytree(programme, twin, symlinks=True)
    nights.later_arrivals(twin)
    whole = (twin / "inbox" / "north-quay" / "c.csv").read_text(encoding="utf-8")
    path = programme / "inbox" / "north-quay" / "c.csv"
    path.write_text(whole[: len(whole) // 2 + 1], encoding="utf-8")
    assert nights.command(nights.RUN, programme)[0] == 0
    path.write_text(whole, encoding="utf-8")
    for folder in (programme, twin):
        assert nights.command(nights.RUN, folder)[0] == 0
    found, expected = soundness.contents(programme), soundness.contents(twin)
    for table in ("tally.value", "tally.moment", "tally.band"):
        assert found[table] == expected[table]
    assert soundness.faults(programme) == []
