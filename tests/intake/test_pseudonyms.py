"""Keyed pseudonyms: the same in SQL and in Python, made once, kept from others."""

import stat

import pytest
from invented_site import PROFILE, SITE, csv

from pipeline.faults import StoreFault
from pipeline.intake.pseudonyms import pads_of, read_key, scope_prefix
from pipeline.seal.pseudonym import pseudonym_of

ROW = "m1,2025-02-03,F,35,165.0,65.0"
KEY = bytes(range(32))


@pytest.mark.parametrize("received", ["m1", " m1\u00a0", "Mitglied Nr. 7", "é", "1", "x" * 300])
@pytest.mark.parametrize("scope", ["", SITE])
def test_sql_and_python_agree(macros, received, scope):
    inner, outer = pads_of(KEY)
    found = macros.value(
        "select pseudonym($inner_pad, $outer_pad, $scope, $received)",
        {"inner_pad": inner, "outer_pad": outer, "scope": scope, "received": received},
    )
    assert found == pseudonym_of(KEY, scope, received) and len(found) == 32


def test_another_key_or_scope_is_another_pseudonym():
    assert (
        len({pseudonym_of(KEY, "", "m1"), pseudonym_of(KEY, SITE, "m1"), pseudonym_of(KEY[::-1], "", "m1")})
        == 3
    )


def test_a_scope_cannot_run_into_a_number():
    assert pseudonym_of(KEY, "a", "b1") != pseudonym_of(KEY, "ab", "1")


def test_the_key_is_made_once_for_this_user_alone(tmp_path):
    path = tmp_path / "store" / "pseudonym.key"
    first = read_key(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert len(first) == 32 and read_key(path) == first
    assert first.hex() != "00" * 32


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620])
def test_a_key_that_others_may_touch_is_refused(tmp_path, mode):
    path = tmp_path / "pseudonym.key"
    read_key(path)
    path.chmod(mode)
    with pytest.raises(StoreFault, match=rf"mode {mode:03o}.*\n?.*chmod 600"):
        read_key(path)


@pytest.mark.parametrize("text", ["", "short", "zz" * 32, "ab" * 31])
def test_a_damaged_key_is_not_replaced(tmp_path, text):
    path = tmp_path / "pseudonym.key"
    path.write_text(text)
    path.chmod(0o600)
    with pytest.raises(StoreFault, match="not a pseudonym key"):
        read_key(path)
    assert path.read_text() == text


def test_a_lost_key_is_not_replaced_while_files_are_accepted_with_it(house):
    house.put("a.csv", csv(ROW))
    house.receive()
    path = house.folder / "store" / "pseudonym.key"
    kept = path.read_bytes()
    path.unlink()
    house.put("b.csv", csv(ROW.replace("02-03", "02-04")))
    with pytest.raises(StoreFault) as caught:
        house.receive()
    assert "pseudonym key lost" in str(caught.value) and "1 file was accepted with it" in str(caught.value)
    assert "put the key back from a backup" in caught.value.next
    assert "start a new store" in caught.value.next and "all files in the inbox" in caught.value.next
    assert not path.exists() and len(house.accepted("line")) == 1
    path.write_bytes(kept)
    path.chmod(0o600)
    house.receive()
    assert len(house.accepted("participant")) == 2 and len(set(house.accepted("participant"))) == 1


def test_a_key_may_be_made_anew_while_no_file_is_accepted(house):
    house.put("a.csv", csv(ROW.replace("65.0", "heavy")))
    assert house.receive().files_held == 1
    (house.folder / "store" / "pseudonym.key").unlink()
    house.put("b.csv", csv(ROW))
    assert house.receive().files_accepted == 1


@pytest.mark.parametrize(
    "number",
    ["m\x001", "m\x071", "m\x1b[31m1", "m\u200b1", "\u202e1m", "m\u20281", "m\x851", "x" * 201],
)
def test_a_number_with_invisible_characters_or_without_end_holds_its_row(house, number):
    rows = ["m1,2025-02-03,F,35,165.0,65.0", f"{number},2025-02-03,F,35,165.0,65.0"]
    house.put("a.csv", csv(*rows))
    summary = house.receive()
    assert house.held() == [(3, ["unreadable:participant"])] and house.counts() == [(2, 1, 1, 0, 0)]
    assert "at most 200 characters" in summary.row_messages[0]
    assert number not in summary.row_messages[0] + repr(house.store.rows("from ledger.held_row"))


def test_a_line_end_within_a_number_holds_its_row_and_one_behind_it_does_not(house):
    house.put("a.csv", csv('"m\n1",2025-02-03,F,35,165.0,65.0', '"m2\n",2025-02-03,F,35,165.0,65.0'))
    house.receive()
    assert house.held() == [(2, ["unreadable:participant"])] and house.accepted("line") == [4]


@pytest.mark.parametrize("number", ["m\u00a01", "Mitglied Nr. 7", "é", "x" * 200, " m1 ", "m/1-2_3"])
def test_a_number_of_letters_digits_and_blanks_is_read(house, number):
    house.put("a.csv", csv(f"{number},2025-02-03,F,35,165.0,65.0"))
    assert house.receive().rows_accepted == 1


def test_one_number_at_two_sites_is_one_person_unless_the_site_counts_for_itself(two_sites):
    for site in (SITE, "east-pier"):
        two_sites.put("a.csv", csv(ROW), site=site)
    two_sites.receive()
    assert len(set(two_sites.accepted("participant"))) == 1
    own = PROFILE.replace('"Member"', '"Member", scope = "site"')
    two_sites.profile(own, "east-pier")
    two_sites.put("b.csv", csv(ROW.replace("02-03", "02-04")), site="east-pier")
    two_sites.receive()
    assert len(set(two_sites.accepted("participant"))) == 2
    assert scope_prefix("east-pier", "site") == "east-pier" and scope_prefix("east-pier", None) == ""


def test_the_number_itself_is_nowhere_in_the_store(house):
    house.put("a.csv", csv(ROW.replace("m1", "member-4711"), "member-4712,2025-02-03,F,35,,65.0"))
    house.receive()
    for table in ("reading.accepted", "ledger.held_row", "ledger.file"):
        assert "member-47" not in repr(house.store.rows(f"from {table}"))
