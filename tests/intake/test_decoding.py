"""Encodings: the byte order mark first, UTF-16 without one, strict UTF-8, and then the likeliest."""

import pytest
from invented_site import PROFILE

from pipeline.faults import FileHeld
from pipeline.seal.decoding import survey

TEXT = "Mitglied;Datum;Geschlecht;Alter;Größe;Gewicht\nm1;2025-02-03;F;35;165,0;65,0\n"
GERMAN = (
    PROFILE.replace('"csv"', '"csv"\ndelimiter = ";"\ndecimal = ","')
    .replace("Member", "Mitglied")
    .replace('"Date"', '"Datum"')
    .replace('"Sex"', '"Geschlecht"')
    .replace('"Age"', '"Alter"')
    .replace('"Ht"', '"Größe"')
    .replace('"Wt"', '"Gewicht"')
)


@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("utf-32", "utf-32"),
        ("cp1252", "cp1252"),
        ("latin-1", "cp1252"),
    ],
)
def test_the_same_text_in_every_encoding_is_the_same_reading(house, encoding, found):
    house.profile(GERMAN)
    house.put("a.csv", TEXT.encode(encoding))
    house.receive()
    assert house.accepted("weight_kg", "height_cm") == [(65.0, 165.0)]
    assert house.files("encoding") == [found]


def test_the_profiles_encoding_is_obeyed_and_bytes_that_do_not_fit_it_hold_the_file(house):
    house.profile(GERMAN.replace('"csv"', '"csv"\nencoding = "utf-8"'))
    house.put("a.csv", TEXT.encode("cp1252"))
    house.receive()
    assert house.files("state", "reason_code") == [("held", "encoding")]
    house.profile(GERMAN.replace('"csv"', '"csv"\nencoding = "cp1252"'))
    assert house.receive().files_accepted == 1


def test_an_encoding_that_does_not_exist_is_named(house):
    house.profile(GERMAN.replace('"csv"', '"csv"\nencoding = "utf-9"'))
    house.put("a.csv", TEXT)
    assert "utf-9" in house.receive().messages[0]


@pytest.mark.parametrize(
    ("content", "lines", "is_plain"),
    [
        (b"a\nb\n", 2, True),
        (b"a\nb", 2, True),
        (b"a\r\nb\r\n", 2, True),
        (b"a\rb\r", 2, False),
        (b"a\nb\r\nc", 3, False),
        (b"", 0, True),
    ],
)
def test_lines_are_counted_as_an_editor_counts_them(tmp_path, content, lines, is_plain):
    path = tmp_path / "a.csv"
    path.write_bytes(content)
    facts = survey(path, where="a.csv", encoding=None, most_bytes=100)
    assert (facts.lines, facts.has_plain_line_ends) == (lines, is_plain)


def test_a_line_end_across_two_blocks_is_one(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"x" * ((1 << 20) - 1) + b"\r\n" + b"y\r\n")
    facts = survey(path, where="a.csv", encoding=None, most_bytes=1 << 30)
    assert (facts.lines, facts.has_plain_line_ends) == (2, True)


def test_more_bytes_than_the_limit(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"a\n" * 50)
    assert survey(path, where="a.csv", encoding=None, most_bytes=100).bytes == 100
    with pytest.raises(FileHeld, match="more than 99 bytes"):
        survey(path, where="a.csv", encoding=None, most_bytes=99)
