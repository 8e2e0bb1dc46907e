"""One e-mail address is found wherever it stands: across two blocks, in any encoding, with any line end."""

import gzip

import pytest

from pipeline.seal.addresses import AddressScan, holds_address
from pipeline.seal.decoding import survey

ADDRESS = b"ann@example.org"


@pytest.mark.parametrize("cut", range(1, len(ADDRESS)))
def test_an_address_across_two_blocks_is_found_on_its_line(cut):
    content = b"one\ntwo\nthree " + ADDRESS + b"\nfour\n"
    at = content.index(ADDRESS) + cut
    scan = AddressScan()
    scan.feed(content[:at], 0)
    scan.feed(content[at:], content[:at].count(b"\n"))
    assert scan.line == 3


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_every_encoding_and_line_end(tmp_path, end, encoding):
    path = tmp_path / "a.csv"
    lines = ["desk@example.org", "Größe", *["172,5"] * 40_000, "ann@example.org", "172,5"]
    path.write_bytes(end.join(lines).encode(encoding))
    assert survey(path, where="a.csv", encoding=None, most_bytes=1 << 30).address_line == 1
    facts = survey(path, where="a.csv", encoding=None, most_bytes=1 << 30, rows_from=3)
    assert facts.address_line == 40_003


def test_a_packed_file_is_looked_through_too(tmp_path):
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress(b"x\n" * 1_000_000 + ADDRESS))
    assert survey(path, where="a.csv.gz", encoding=None, most_bytes=1 << 30).address_line == 1_000_001


@pytest.mark.parametrize(
    "text", ["ann@example.org", "<ann@example.org>", "a.b+c@mail.example.co.uk.", "ü@bücher.example"]
)
def test_texts_with_an_address(text):
    assert holds_address(text)
    scan = AddressScan()
    scan.feed(text.encode(), 0)
    assert scan.line == 1


@pytest.mark.parametrize(
    "text", ["", "@", "@home", "10 @ 60", "60@30.5", "m1@quay", "@example.org", "a@b.c", "a@ b.org"]
)
def test_texts_without_one(text):
    assert not holds_address(text)
    scan = AddressScan()
    scan.feed(text.encode(), 0)
    assert scan.line is None
