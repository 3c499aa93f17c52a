"""Keys that count no longer: the files that ``ssh-keygen -Y verify -r`` takes, and their sources.

Three forms are read (ssh-keygen(1), KEY REVOCATION LISTS; OpenSSH's ``PROTOCOL.krl``):

- public keys, one a line, as in ``.pub`` files;
- a binary KRL as ``ssh-keygen -k`` writes it, of which keys and their hashes count here and
  certificates, which cannot sign here, are passed over;
- the text that such a KRL is made from: ``key:``, ``sha1:`` and ``sha256:`` with a public key,
  ``hash:`` with a fingerprint ``SHA256:...``.

A line that cannot be read refuses the whole file: a key that stays valid by a slip of the pen is
what the file is there to prevent.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from pathlib import Path

from ..core.plain_file import read_plain
from ..errors import FileProblem
from .keys import PublicKey
from .wire import Broken, Fields, key_blob

MAX_FILE = 16 << 20
SUFFIX = ".revoked"
"""A file of this name beside a list of signers (``allowed_signers.revoked``) is read with it."""

_MAGIC = b"SSHKRL\n\0"
_CERTIFICATES, _KEY, _SHA1, _SIGNATURE, _SHA256 = range(1, 6)
_OTHER_TYPES = ("ssh-", "ecdsa-", "sk-")


@dataclass(frozen=True)
class Revoked:
    """Keys that count no longer.

    Parameters
    ----------
    blobs, sha1, sha256 : frozenset of bytes
        Keys in wire form, and hashes over that form.
    source : str
        Where the list came from, for messages.
    """

    blobs: frozenset[bytes] = frozenset()
    sha1: frozenset[bytes] = frozenset()
    sha256: frozenset[bytes] = frozenset()
    source: str = ""

    def __contains__(self, key: object) -> bool:
        if not isinstance(key, PublicKey):
            return False
        blob = key_blob(key.raw)
        return (
            blob in self.blobs
            or hashlib.sha256(blob).digest() in self.sha256
            or hashlib.sha1(blob, usedforsecurity=False).digest() in self.sha1
        )

    def joined(self, other: Revoked) -> Revoked:
        """Return what either list revokes."""
        return Revoked(
            self.blobs | other.blobs,
            self.sha1 | other.sha1,
            self.sha256 | other.sha256,
            self.source or other.source,
        )


NONE_REVOKED = Revoked()


def read_revoked(path: Path | str) -> Revoked:
    """Read a revocation list.

    Raises
    ------
    FileProblem
        If it cannot be read, or a part of it cannot; the text names the place.
    """
    place = Path(path)
    data = read_plain(place, "a revocation list", MAX_FILE)
    if data.startswith(_MAGIC):
        try:
            return _krl(data, str(place))
        except Broken:
            raise FileProblem(
                place, "", "The revocation list is damaged.", "Make it again with ssh-keygen -k."
            ) from None
    blobs, hashes = set(), set()
    for number, line in enumerate(data.split(b"\n"), start=1):
        words = line.strip()
        if not words or words.startswith(b"#"):
            continue
        try:
            blob, hash = _line(words.decode("utf-8"))
        except (ValueError, Broken):
            raise FileProblem(
                place,
                f"line {number}",
                "This is neither a public key nor a fingerprint.",
                "Write the line of a .pub file, or hash: SHA256:...",
            ) from None
        blobs.add(blob)
        hashes.add(hash)
    return Revoked(frozenset(blobs - {b""}), frozenset(), frozenset(hashes - {b""}), str(place))


def _line(text: str) -> tuple[bytes, bytes]:
    """Return the wire form of a key, or the SHA-256 of one; the other is empty."""
    directive, colon, rest = text.partition(":")
    directive = directive.strip().lower()
    if colon and directive == "hash":
        return b"", _fingerprint(rest.strip())
    if directive == "sha256" and not rest.strip().startswith(_OTHER_TYPES):
        return b"", _fingerprint(text)  # a bare fingerprint
    if colon and directive in ("key", "sha1", "sha256"):
        text = rest.strip()
    words = text.split()
    if len(words) < 2 or not words[0].startswith(_OTHER_TYPES):
        raise ValueError(text)
    blob = base64.b64decode(words[1], validate=True)
    if Fields(blob).string() != words[0].encode():
        raise ValueError(text)
    return blob, b""


def _fingerprint(text: str) -> bytes:
    name, _, digits = text.partition(":")
    if name != "SHA256":
        raise ValueError(text)
    digits = digits.split()[0]  # a comment may follow
    found = base64.b64decode(digits + "=" * (-len(digits) % 4), validate=True)
    if len(found) != 32:
        raise ValueError(text)
    return found


def _krl(data: bytes, source: str) -> Revoked:
    fields = Fields(data)
    fields.take(len(_MAGIC))
    if fields.number() != 1:
        raise Broken
    fields.take(3 * 8)  # its own version, when it was made, flags
    fields.string()
    fields.string()  # a comment
    found: dict[int, set[bytes]] = {_KEY: set(), _SHA1: set(), _SHA256: set()}
    while not fields.at_end:
        kind = fields.take(1)[0]
        section = Fields(fields.string())
        if kind == _SIGNATURE:  # the last sections; nothing here knows whom to trust with them
            break
        if kind not in found:
            if kind != _CERTIFICATES:
                raise Broken
            continue
        while not section.at_end:
            found[kind].add(section.string())
    return Revoked(
        frozenset(found[_KEY]), frozenset(found[_SHA1]), frozenset(found[_SHA256]), source
    )
