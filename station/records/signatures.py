"""A station's signature: Ed25519 (RFC 8032) of the sealed body, by a key that lies in a file of its own.

A body that is to be signed names the public key (`chain`, format 2), so that a signature cannot be taken away unseen.
What a signature shows: this entry was written by whoever has the key. A key on the same disk as the archive shows which
installation wrote it, and not that nobody there edited it. The public key belongs where it can be compared later: on
paper, or with somebody else.

Signing needs the extra `sign` (the library `cryptography`); without it, archives without a key work as ever, and
signatures are not checked, which is said.

>>> signer = Signer.of_seed(bytes(32))
>>> is_signed(signer.public, b"a body", signer.sign(b"a body")), is_signed(signer.public, b"b", signer.sign(b"a body"))
(True, False)
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

_NEEDED = "signing needs the library cryptography, which is not installed here; pip install 'fidbench[sign]'"


class KeyFault(ValueError):
    """A station's key cannot be made or read; the message names the file, what was found, and what to do."""


@dataclass(frozen=True)
class Signer:
    """A station's key. `public` is its public half, as sixty-four hexadecimal digits."""

    public: str
    _key: Ed25519PrivateKey = field(repr=False)

    @classmethod
    def of_seed(cls, seed: bytes) -> Signer:
        """Give the signer of a private key's thirty-two bytes. Raises `KeyFault` without the library."""
        try:
            from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
        except ImportError:
            raise KeyFault(_NEEDED) from None
        key = Ed25519PrivateKey.from_private_bytes(seed)
        return cls(key.public_key().public_bytes_raw().hex(), key)

    @classmethod
    def load(cls, path: Path) -> Signer:
        """Read a key file. Raises `KeyFault` where it is none, or others may read it."""
        try:
            seed = path.read_text("ascii").strip()
            if os.name == "posix" and path.stat().st_mode & 0o077:
                raise KeyFault(f"{path}: others than you may read this key; chmod 600 {path}")
        except (OSError, UnicodeDecodeError) as fault:
            raise KeyFault(f"{path}: cannot be read as a key ({fault})") from None
        try:
            raw = bytes.fromhex(seed)
        except ValueError:
            raw = b""
        if len(raw) != 32:
            raise KeyFault(f"{path}: is no key; expected sixty-four hexadecimal digits, as records key writes them")
        return cls.of_seed(raw)

    @classmethod
    def make(cls, path: Path) -> Signer:
        """Draw a new key and write it to a file that only its owner may read. Raises `KeyFault` where one is there."""
        seed = os.urandom(32)
        signer = cls.of_seed(seed)
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            raise KeyFault(f"{path}: is there already; a key is never replaced") from None
        except OSError as fault:
            raise KeyFault(f"{path}: cannot be written ({fault.strerror})") from None
        with os.fdopen(descriptor, "w") as file:
            file.write(seed.hex() + "\n")
            file.flush()
            os.fsync(file.fileno())
        return signer

    def sign(self, body: bytes) -> str:
        """Give the signature of a body as a hundred and twenty-eight hexadecimal digits."""
        return self._key.sign(body).hex()


def can_be_checked() -> bool:
    """Tell whether the library that checks signatures is installed."""
    try:
        import cryptography.hazmat.primitives.asymmetric.ed25519  # noqa: F401 -- only whether it is there
    except ImportError:
        return False
    return True


def is_signed(public: str, body: bytes, signature: str) -> bool:
    """Tell whether `signature` is the one of `body` by the private half of `public`. Needs the extra `sign`."""
    from cryptography.exceptions import InvalidSignature

    if signature != signature.lower():  # as it was written, and no other way
        return False
    try:
        _public(public).verify(bytes.fromhex(signature), body)
    except (InvalidSignature, ValueError):
        return False
    return len(signature) == 128


@lru_cache(16)
def _public(key: str) -> Ed25519PublicKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    return Ed25519PublicKey.from_public_bytes(bytes.fromhex(key))
