"""Keys whose files open at once, for tests of what keys are used for."""

from __future__ import annotations

from pathlib import Path

from cryptography.hazmat.primitives import serialization as s
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from calib_model.signoff.keys import PublicKey


def make_quick_key(path: Path, passphrase: str, comment: str = "") -> PublicKey:
    """Write a key as `calib_model.signoff.keys.make_key` does, protected by one round only.

    The many rounds of a real key file make each guess of its passphrase take 0.1 s, and each use
    of the key in a test too. Real ones are made and read in tests/signoff, by the verb
    `keys new` and by the window's form. The file opens as any other does.
    """
    key = Ed25519PrivateKey.generate()
    protected = (
        s.PrivateFormat.OpenSSH.encryption_builder().kdf_rounds(1).build(passphrase.encode())
    )
    path.write_bytes(key.private_bytes(s.Encoding.PEM, s.PrivateFormat.OpenSSH, protected))
    path.chmod(0o600)
    public = PublicKey(key.public_key().public_bytes_raw())
    path.with_name(path.name + ".pub").write_text(public.line(comment) + "\n", encoding="utf-8")
    return public


def signer_line(name: str, key: PublicKey) -> str:
    """Return the line by which a list of allowed signers lets somebody sign off and decide."""
    return f'"{name}" namespaces="bitepoint-signoff,bitepoint-decision" {key.line()}'
