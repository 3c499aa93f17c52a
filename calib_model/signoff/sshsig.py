"""Signatures as OpenSSH makes and verifies them: SSHSIG (PROTOCOL.sshsig of OpenSSH).

A signature names the purpose it was made for (its namespace), so that one made for something else
can never pass for a sign-off.
"""

from __future__ import annotations

import base64
import hashlib

from .keys import PrivateKey, PublicKey
from .wire import KEY_TYPE, Broken, Fields, SignatureProblem, from_base64, key_blob, packed, raw_key

MAGIC = b"SSHSIG"
VERSION = 1
_HASHES = {b"sha512": hashlib.sha512, b"sha256": hashlib.sha256}
_BEGIN = "-----BEGIN SSH SIGNATURE-----"
_END = "-----END SSH SIGNATURE-----"
_WIDTH = 70  # as ssh-keygen wraps
MAX_TEXT = 4096


def sign(message: bytes, key: PrivateKey, namespace: str) -> str:
    """Return an armoured signature.

    Parameters
    ----------
    message : bytes
    key : PrivateKey
    namespace : str
        What the signature is for.
    """
    hash_name = b"sha512"
    signed = _signed_data(message, namespace.encode(), hash_name)
    signature = packed(KEY_TYPE) + packed(key.sign(signed))
    blob = (
        MAGIC
        + VERSION.to_bytes(4, "big")
        + packed(key_blob(key.public.raw))
        + packed(namespace.encode())
        + packed(b"")
        + packed(hash_name)
        + packed(signature)
    )
    text = base64.b64encode(blob).decode()
    lines = [text[i : i + _WIDTH] for i in range(0, len(text), _WIDTH)]
    return "\n".join([_BEGIN, *lines, _END, ""])


def verify(message: bytes, armoured: str, namespace: str) -> PublicKey:
    """Return the key that signed a message.  Whether to trust that key is another question.

    Parameters
    ----------
    message : bytes
    armoured : str
    namespace : str
        What the signature has to be for.

    Raises
    ------
    SignatureProblem
        If it is no signature, is for something else, or does not belong to the message.
    """
    broken = SignatureProblem("The signature is damaged.", "Get the signed set again.")
    text = armoured.strip().replace("\r\n", "\n")
    if len(text) > MAX_TEXT or not (text.startswith(_BEGIN) and text.endswith(_END)):
        raise broken
    try:
        fields = Fields(from_base64("".join(text[len(_BEGIN) : -len(_END)].split())))
        if fields.take(len(MAGIC)) != MAGIC or fields.number() != VERSION:
            raise Broken
        key = PublicKey(raw_key(fields.string()))
        purpose, _reserved, hash_name = fields.string(), fields.string(), fields.string()
        inner = Fields(fields.string())
        fields.end()
        kind, raw = inner.string(), inner.string()
        inner.end()
    except Broken:
        raise broken from None
    if purpose != namespace.encode():
        raise SignatureProblem(
            f"The signature was made for {purpose[:60].decode(errors='replace')!r}, "
            f"not for {namespace!r}.",
            "Get the signed set again.",
        )
    if hash_name not in _HASHES or kind != KEY_TYPE or len(raw) != 64:
        raise broken
    if not key.verifies(raw, _signed_data(message, purpose, hash_name)):
        raise SignatureProblem(
            "The signature does not belong to this text: one of them was altered.",
            "Get the signed set again.",
        )
    return key


def _signed_data(message: bytes, namespace: bytes, hash_name: bytes) -> bytes:
    digest = _HASHES[hash_name](message).digest()
    return MAGIC + packed(namespace) + packed(b"") + packed(hash_name) + packed(digest)
