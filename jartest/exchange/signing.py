"""Signatures under answers: Ed25519 keys as short texts, made and held against by the `cryptography` library.

A public key is 43 letters of base64url, a signature 86.  What is signed is the answer's own bytes after a line
that says what they are, so that no signature made for something else fits.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from jartest.errors import BadEntry

__all__ = ["SigningKey", "fingerprint", "read_key_text", "say_key_text", "signature_holds"]

_BEFORE = b"jartest answer 1\n"  # the page says the same
# As the page and `say_key_text` write it: the name, then the key, whatever a messenger did to the spaces.
_KEY_TEXT = re.compile(r"^\s*jartest\s+key\s+of\s+(.{1,80}?)\s*:\s*([A-Za-z0-9_-]{43})\s*$", re.DOTALL)


def _to_text(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def _from_text(text: str, length: int) -> bytes:
    """The bytes of a text of base64url without padding: RFC 4648, section 5.

    Raises
    ------
    ValueError
        If it is no such text of that many bytes.
    """
    try:
        data = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError) as e:
        raise ValueError("no base64url") from e
    if len(data) != length or _to_text(data) != text:
        raise ValueError("another length")
    return data


@dataclass(frozen=True, slots=True)
class SigningKey:
    """A private key; it signs, and tells its public key."""

    _key: Ed25519PrivateKey

    @classmethod
    def of(cls, secret: bytes) -> SigningKey:
        """The key of these 32 bytes, which are to come from chance alone (RFC 8032, section 5.1.5).

        Raises
        ------
        ValueError
            If they are of another length.
        """
        return cls(Ed25519PrivateKey.from_private_bytes(secret))

    @property
    def public(self) -> str:
        """The public key as text."""
        return _to_text(self._key.public_key().public_bytes_raw())

    def sign(self, said: bytes) -> str:
        """The signature under an answer's bytes, as text."""
        return _to_text(self._key.sign(_BEFORE + said))


def signature_holds(said: bytes, key: str, signature: str) -> bool:
    """Whether this key signed these bytes of an answer."""
    try:
        Ed25519PublicKey.from_public_bytes(_from_text(key, 32)).verify(
            _from_text(signature, 64), _BEFORE + said
        )
    except (ValueError, InvalidSignature):
        return False
    return True


# ------------------------------------------------------------------- exchanging keys
def say_key_text(name: str, key: str) -> str:
    """The line by which others take a key in."""
    return f"jartest key of {' '.join(name.split()).replace(':', ' ')}: {key}"


def read_key_text(text: str) -> tuple[str, str]:
    """The name and the public key in such a line.

    Raises
    ------
    BadEntry
        If there is none in it.
    """
    found = _KEY_TEXT.match(text[:400])
    try:
        if found is None:
            raise ValueError("no key")
        name, key = " ".join(found[1].split()), found[2]
        Ed25519PublicKey.from_public_bytes(_from_text(key, 32))
    except ValueError as e:
        raise BadEntry(
            "This is not a key; paste the whole line that begins with “jartest key of” and ends in 43 letters."
        ) from e
    return name, key


def fingerprint(key: str) -> str:
    """Twelve signs of a key's digest in threes of four, to be read out over the phone."""
    digest = hashlib.sha256(key.encode()).hexdigest()[:12]
    return " ".join(digest[i : i + 4] for i in range(0, 12, 4))
