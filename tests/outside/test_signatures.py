"""The station's signature, against the examples published with Ed25519."""

from __future__ import annotations

import pytest

from station.records.signatures import Signer, is_signed

pytest.importorskip("cryptography", reason="signatures need the extra sign")

# RFC 8032, section 7.1: private key, public key, message, signature. TEST 1 read in a public file; TEST 2 from memory,
# its public key and signature recomputed from its private key.
PUBLISHED = {
    "TEST 1": (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe"
        "24655141438e7a100b",
    ),
    "TEST 2": (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302a"
        "eeb00d291612bb0c00",
    ),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_published_message_has_its_published_signature(name: str) -> None:
    """Key, public key and signature are those of the standard's example, and no other message has that signature."""
    seed, public, message, signature = PUBLISHED[name]
    signer = Signer.of_seed(bytes.fromhex(seed))
    body = bytes.fromhex(message)
    assert signer.public == public
    assert signer.sign(body) == signature
    assert is_signed(public, body, signature)
    assert not is_signed(public, body + b"x", signature)
