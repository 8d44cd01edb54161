"""The hash that seals entries and traces, against the examples published with SHA-256."""

from __future__ import annotations

import pytest

from station.records.chain import digest

# The examples of FIPS 180-2 and 180-4 (empty message, one block, two blocks, one million letters), from memory and
# verified with an independent tool (sha256sum).
PUBLISHED = {
    b"": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    b"abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
    b"a" * 1_000_000: "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
}


@pytest.mark.parametrize("message", PUBLISHED, ids=lambda message: f"{len(message)} bytes")
def test_a_published_message_has_its_published_hash(message: bytes) -> None:
    """A message of the standard's examples has the hash that the standard gives."""
    assert digest(message) == PUBLISHED[message]
