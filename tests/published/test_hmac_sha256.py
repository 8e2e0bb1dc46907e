"""The pseudonyms' HMAC-SHA-256 against RFC 4231.

Nystrom, "Identifiers and Test Vectors for HMAC-SHA-224, HMAC-SHA-256, HMAC-SHA-384, and HMAC-SHA-512", RFC 4231
(2005), section 4, test cases 1 to 4, 6 and 7. From memory; Python's own hmac module gives the same digests (below).
"""

import hmac

import pytest

from pipeline.intake.pseudonyms import pads_of
from pipeline.store import Store

CASES = [
    (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
    (
        b"Jefe",
        b"what do ya want for nothing?",
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
    ),
    (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    (bytes(range(1, 26)), b"\xcd" * 50, "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
    (
        b"\xaa" * 131,
        b"Test Using Larger Than Block-Size Key - Hash Key First",
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
    (
        b"\xaa" * 131,
        b"This is a test using a larger than block-size key and a larger than block-size data. "
        b"The key needs to be hashed before being used by the HMAC algorithm.",
        "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
    ),
]


@pytest.fixture(scope="module")
def macros():
    with Store.open(None) as store:
        yield store


@pytest.mark.parametrize(("key", "message", "digest"), CASES)
def test_the_macro_agrees_with_rfc_4231(macros, key, message, digest):
    inner, outer = pads_of(key)
    found = macros.value(
        "select hmac_sha256($inner_pad, $outer_pad, $message)",
        {"inner_pad": inner, "outer_pad": outer, "message": message},
    )
    assert found == digest


@pytest.mark.parametrize(("key", "message", "digest"), CASES)
def test_an_independent_implementation_agrees(key, message, digest):
    assert hmac.new(key, message, "sha256").hexdigest() == digest
