"""The few pieces of the SSH wire format that keys and signatures need (RFC 4251, section 5)."""

from __future__ import annotations

import base64
import binascii
import hashlib

from ..errors import BitepointError

KEY_TYPE = b"ssh-ed25519"
KEY_BYTES = 32


class SignatureProblem(BitepointError):
    """A key or signature that cannot be used, or a signature that is not good."""


class Broken(Exception):
    """Bytes end early or hold something else."""


def packed(data: bytes) -> bytes:
    """Return a string field: its length, then its bytes."""
    return len(data).to_bytes(4, "big") + data


class Fields:
    """Reads fields one after the other.

    Parameters
    ----------
    data : bytes
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._place = 0

    def take(self, count: int) -> bytes:
        """Return the next bytes."""
        end = self._place + count
        if count < 0 or end > len(self._data):
            raise Broken
        found = self._data[self._place : end]
        self._place = end
        return found

    def number(self) -> int:
        """Return the next 32-bit number."""
        return int.from_bytes(self.take(4), "big")

    def string(self) -> bytes:
        """Return the next string field."""
        return self.take(self.number())

    @property
    def at_end(self) -> bool:
        """Whether nothing is left."""
        return self._place == len(self._data)

    def end(self) -> None:
        """Raise Broken if something is left."""
        if self._place != len(self._data):
            raise Broken


def key_blob(raw: bytes) -> bytes:
    """Return the wire form of a raw Ed25519 public key (RFC 8709, section 4)."""
    return packed(KEY_TYPE) + packed(raw)


def raw_key(blob: bytes) -> bytes:
    """Return the raw Ed25519 public key of its wire form.

    Raises
    ------
    SignatureProblem
        If it is a key of another type, or none.
    """
    try:
        fields = Fields(blob)
        kind = fields.string()
        if kind != KEY_TYPE:
            name = kind[:40].decode("ascii", "replace")
            raise SignatureProblem(
                f"The key is of type {name!r}.", "Use an Ed25519 key (`bitepoint keys new`)."
            )
        raw = fields.string()
        fields.end()
    except Broken:
        raise SignatureProblem("This is no public key.", "Copy it again.") from None
    if len(raw) != KEY_BYTES:
        raise SignatureProblem("This is no Ed25519 public key.", "Copy it again.")
    return raw


def from_base64(text: str) -> bytes:
    """Return the bytes of base64 text; Broken if it is none."""
    try:
        return base64.b64decode(text.encode("ascii"), validate=True)
    except (ValueError, binascii.Error):
        raise Broken from None


def fingerprint(raw: bytes) -> str:
    """Return a public key's fingerprint as OpenSSH shows it: ``SHA256:`` and base64."""
    digest = hashlib.sha256(key_blob(raw)).digest()
    return "SHA256:" + base64.b64encode(digest).decode().rstrip("=")
