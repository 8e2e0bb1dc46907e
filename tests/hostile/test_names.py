"""Names of people's numbers, sites, analysers and files that are made to look like others, or to do something.

Mechanics. Unicode Standard Annex #15 for what is the same text in another form of writing.
"""

import os
import unicodedata

import pytest
from invented_site import PROFILE, csv

from pipeline.cli import main
from pipeline.faults import SettingsFault
from pipeline.programme import Programme
from pipeline.seal.cells import passed
from pipeline.seal.profile import read_seal_profile
from pipeline.seal.pseudonym import pseudonym_as_written, pseudonym_of, pseudonyms_kept

COMPOSED, DECOMPOSED = "Ren\u00e9-7", "Rene\u0301-7"
UNSEEN = (
    "\u200b",
    "\u200d",
    "\u202e",
    "\u2066",
    "\u034f",
    "\u115f",
    "\u3164",
    "\ufe0f",
    "\U000e0101",
    "\x00",
    "\x7f",
    "\u00ad",
)


def row(number="m1", day="2025-02-03", weight="65", more=""):
    return f"{number},{day},F,35,165.5,{weight}{more}"


def test_an_accent_written_as_a_mark_of_its_own_is_the_same_person_at_intake(house):
    house.put("a.csv", csv(row(COMPOSED), row(DECOMPOSED, "2025-03-03")))
    house.receive()
    first, second = house.accepted("participant")
    assert first == second


def test_and_at_the_site_that_seals():
    key = bytes(range(32))
    assert pseudonym_of(key, "seal", COMPOSED) == pseudonym_of(key, "seal", DECOMPOSED)
    assert pseudonym_of(key, "", COMPOSED) == pseudonym_as_written(
        key, "", COMPOSED
    )  # as stores hold it already
    assert pseudonym_of(key, "", "\uff11\uff17") != pseudonym_of(key, "", "17")  # similar is not the same


def test_a_withdrawal_finds_what_earlier_versions_kept_of_either_writing():
    key = bytes(range(32))
    kept = {pseudonym_as_written(key, "", number) for number in (COMPOSED, DECOMPOSED)}
    assert set(pseudonyms_kept(key, "", COMPOSED)) == set(pseudonyms_kept(key, "", DECOMPOSED)) == kept
    assert pseudonyms_kept(key, "", "4711") == (pseudonym_of(key, "", "4711"),)


def test_whoever_withdrew_under_the_other_writing_stays_away(house):
    from pipeline.intake import pseudonyms, tombstones

    house.put("a.csv", csv(row("m1"), row(DECOMPOSED)))
    house.receive()
    key = pseudonyms.read_key(house.folder / "store" / "pseudonym.key")
    earlier = pseudonym_as_written(key, "", DECOMPOSED)
    tombstones.add(house.folder / "store", [tombstones.tombstone_of(key, earlier)])
    house.put("b.csv", csv(row("m2", "2025-03-03"), row(DECOMPOSED, "2025-03-04")))
    house.receive()
    assert house.files("rows_withdrawn") == [0, 1] and len(house.accepted("line")) == 3


@pytest.mark.parametrize("char", UNSEEN, ids=ascii)
def test_a_number_or_a_name_with_a_character_that_nobody_sees_is_held(house, tmp_path, char):
    house.profile(PROFILE + 'device = { header = "Dev" }\n')
    header = "Member,Date,Sex,Age,Ht,Wt,Dev"
    house.put(
        "a.csv",
        csv(row("m1", more=",A1"), row(f"m{char}1", more=",A1"), row("m2", more=f",A{char}1"), header=header),
    )
    house.receive()
    assert house.held() == [(3, ["unreadable:participant"]), (4, ["unreadable:device"])]
    profile = tmp_path / "seal.toml"
    profile.write_text(PROFILE)
    assert passed(read_seal_profile(profile), "participant", f"m{char}1") is None


def test_a_name_of_80_characters_is_one_and_of_81_is_none(house):
    house.profile(PROFILE + 'device = { header = "Dev" }\n')
    header = "Member,Date,Sex,Age,Ht,Wt,Dev"
    house.put("a.csv", csv(row("m1", more="," + "x" * 80), row("m2", more="," + "x" * 81), header=header))
    house.receive()
    assert house.accepted("length(device)") == [80] and house.held() == [(3, ["unreadable:device"])]


def test_two_fields_read_from_one_column_do_not_stop_a_run_that_holds_a_row(house):
    house.profile(PROFILE + 'metabolic_age = { header = "Age" }\n')
    house.put("a.csv", csv(row("m1"), row("m2", weight="heavy")))
    house.receive()
    assert house.held() == [(3, ["unreadable:weight"])] and len(house.accepted("line")) == 1
    assert house.store.value("select received from ledger.held_row").count('"Age"') == 1


@pytest.mark.parametrize("header", ["Wt\u200b", "\u202eWt", "W\u0442"], ids=ascii)
def test_a_header_that_only_looks_like_another_is_not_taken_for_it(house, header):
    house.put("a.csv", csv(row(), header=f"Member,Date,Sex,Age,Ht,{header}"))
    [message] = house.receive().messages
    assert house.files("reason_code") == ["header_missing"] and all(
        char.isprintable() or char == "\n" for char in message
    )


@pytest.mark.parametrize(
    "site", ["../north-quay", "north quay", "north-quay\n", "a/b", "NORTH", "", ".", "con:", "n" * 41]
)
def test_a_site_id_is_no_path(house, site):
    path = house.folder / "programme.toml"
    path.write_text(
        path.read_text().replace('id = "north-quay"', f"id = {ascii(site).replace(chr(39), chr(34))}")
    )
    with pytest.raises(SettingsFault, match="bad settings"):
        Programme.read(path)


@pytest.mark.parametrize("name", ["/dev/zero", "/dev/stdin", ".", "n" * 300, "x\\u0000y"])
def test_a_profile_is_a_file_of_ordinary_size(house, name):
    path = house.folder / "programme.toml"
    path.write_text(path.read_text().replace('"north-quay.toml"', f'"{name}"'))
    with pytest.raises(SettingsFault):
        Programme.read(path)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('measured_on = { header = "Date", format = "%d%m%Y%q" }', "a format is made of"),
        ('measured_on = { header = "Date", format = "%d%d%m%Y" }', "names each part once"),
        ('weight = { header = "Wt", resolution = inf }', "at most"),
        ("weight = { header = " + "[" * 2000, "not TOML"),
        ("weight = " + "9" * 5000, "not TOML"),
    ],
)
def test_a_profile_that_would_stop_a_run_is_refused_before_it(house, line, said):
    field = line.partition(" =")[0]
    kept = "".join(one + "\n" for one in PROFILE.splitlines() if not one.startswith(field))
    house.profile(kept + line + "\n")
    with pytest.raises(SettingsFault, match=said):
        Programme.read(house.folder)


def test_links_pipes_and_names_of_every_kind_in_the_inbox(house, tmp_path):
    inbox, outside = house.folder / "inbox" / "north-quay", tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.csv").write_text(csv(row("m9")))
    (inbox / "file.csv").symlink_to(outside / "secret.csv")
    (inbox / "folder").symlink_to(outside)
    (inbox / "dangling.csv").symlink_to(outside / "nothing")
    (inbox / "loop.csv").symlink_to(inbox / "loop.csv")
    (inbox / "up").symlink_to(inbox.parent)
    os.mkfifo(inbox / "pipe.csv")
    names = [
        "=1+1.csv",
        "<script>alert(1)<script>.csv",
        "a\u202evsc.csv",
        "a\x1b[2Jb.csv",
        "a\nb.csv",
        "$(id).csv",
        "'; drop table--.csv",
        "n" * 251 + ".csv",
    ]
    for n, name in enumerate(names):
        house.put(name, csv(row(f"m{n}")))
    summary = house.receive()
    assert (summary.passed_over, summary.files_accepted, summary.rows_accepted) == (6, len(names), len(names))
    said = "\n".join((*summary.messages, *summary.row_messages))
    assert all(char.isprintable() or char == "\n" for char in said) and said.count("a symbolic link") == 5
    assert len(house.archived()) == len(names)


def test_a_message_does_not_repeat_what_a_hostile_cell_says(house):
    house.profile(PROFILE + 'device = { header = "<img src=x onerror=alert(1)>" }\n')
    content = csv(
        row("m1", weight="<script>alert(1)</script>", more=",\x1b[2J"),
        header="Member,Date,Sex,Age,Ht,Wt,<img src=x onerror=alert(1)>",
    )
    house.put("<script>alert(1)<script>.csv", content)
    [message] = house.receive().messages
    assert (
        message.splitlines()[-1].strip()
        == "found a text of 25 characters; expected a number of kilograms written with a point (kg)"
    )
    assert all(char.isprintable() or char == "\n" for char in message)


def test_form_c_of_unicode_is_the_databases_and_pythons(macros_store):
    texts = [
        DECOMPOSED,
        "\u1100\u1161\u11a8",
        "\u212b",
        "q\u0323\u0307",
        "\ufb01",
        "\u0344",
        "a\u0315\u0300\u05ae\u0062",
    ]
    for text in texts:
        assert macros_store.value("select nfc_normalize($text)", {"text": text}) == unicodedata.normalize(
            "NFC", text
        )


@pytest.fixture
def macros_store(house):
    return house.store


def test_the_command_line_says_one_thing_of_a_hostile_file(tmp_path, capsys):
    path = tmp_path / "a.csv"
    path.write_bytes(b"\x1f\x8b\x08\x00" + b"\xff" * 50)
    assert main(["inspect", str(path)]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 3 and "Traceback" not in said
