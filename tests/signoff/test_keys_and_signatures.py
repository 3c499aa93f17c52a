"""Keys and signatures against RFC 8032, and against OpenSSH both ways."""

from __future__ import annotations

import base64
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.errors import FileProblem
from calib_model.signoff import sshsig
from calib_model.signoff.keys import PrivateKey, PublicKey, is_protected, load_key, make_key
from calib_model.signoff.wire import SignatureProblem
from tests.signoff.making import ADA, INES, needs_openssh

PHRASE = "correct horse battery"
SPACE = "bitepoint-signoff"

# RFC 8032, section 7.1, tests 1 to 3: secret key, public key, message, signature.
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9"
            "b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f1"
            "1d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984d"
            "c6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    key = PrivateKey.from_seed(bytes.fromhex(secret))
    assert key.public.raw.hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    assert key.public.verifies(bytes.fromhex(signature), bytes.fromhex(message))
    assert not key.public.verifies(bytes.fromhex(signature), bytes.fromhex(message) + b"x")


def test_a_malleable_signature_is_refused() -> None:
    # RFC 8032, section 5.1.7: S must be below the group order L (section 5.1), or anybody could
    # make a second signature of a good one.
    order = 2**252 + 27742317777372353535851937790883648493
    signature = ADA.sign(b"x")
    s = int.from_bytes(signature[32:], "little") + order
    assert not ADA.public.verifies(signature[:32] + s.to_bytes(32, "little"), b"x")


# -- files ---------------------------------------------------------------------------------


def test_a_new_key_is_protected_private_and_loads_again(tmp_path: Path) -> None:
    public = make_key(tmp_path / "k", PHRASE, "Ada")
    assert (tmp_path / "k.pub").read_text() == public.line("Ada") + "\n"
    assert PublicKey.parse((tmp_path / "k.pub").read_text()) == public
    assert is_protected(tmp_path / "k")
    assert load_key(tmp_path / "k", PHRASE).public == public
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "k").stat().st_mode) == 0o600


def test_a_key_never_replaces_a_file(tmp_path: Path) -> None:
    (tmp_path / "k").write_text("mine")
    with pytest.raises(FileProblem, match="already"):
        make_key(tmp_path / "k", PHRASE)
    (tmp_path / "j.pub").write_text("mine")
    with pytest.raises(FileProblem, match="already"):
        make_key(tmp_path / "j", PHRASE)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["j.pub", "k"]
    assert (tmp_path / "k").read_text() == "mine"


def test_a_short_passphrase_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(SignatureProblem, match="fewer than 8"):
        make_key(tmp_path / "k", "short")
    assert not list(tmp_path.iterdir())


def test_wrong_passphrase_and_broken_files_are_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "k"
    make_key(path, PHRASE)
    with pytest.raises(FileProblem, match="passphrase is wrong"):
        load_key(path, "another one")
    with pytest.raises(FileProblem, match="Give its passphrase"):
        load_key(path, None)
    with pytest.raises(FileProblem, match="public half"):
        load_key(tmp_path / "k.pub", PHRASE)
    with pytest.raises(FileProblem, match="Cannot be read"):
        load_key(tmp_path / "none", PHRASE)
    text = path.read_bytes()
    for broken in (b"", b"hello", text[:100], text[:200] + text[230:], b"\xff" * 50, text * 80):
        path.write_bytes(broken)
        with pytest.raises(FileProblem):
            load_key(path, PHRASE)


def test_a_key_that_would_take_a_day_to_open_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "k"
    make_key(path, PHRASE)
    lines = path.read_text().splitlines()
    blob = bytearray(base64.b64decode("".join(lines[1:-1])))
    # openssh-key-v1: magic, cipher, kdf name, kdf options (salt, rounds); PROTOCOL.key of OpenSSH.
    place = blob.index(b"bcrypt") + len(b"bcrypt") + 4
    salt = int.from_bytes(blob[place : place + 4], "big")
    blob[place + 4 + salt : place + 8 + salt] = (2**31).to_bytes(4, "big")
    path.write_text("\n".join([lines[0], base64.b64encode(blob).decode(), lines[-1]]))
    with pytest.raises(FileProblem, match="a day of computing"):
        load_key(path, PHRASE)


@pytest.mark.parametrize(
    "arguments",
    [("-t", "rsa", "-b", "2048"), ("-t", "ecdsa"), ("-t", "rsa", "-b", "2048", "-m", "PEM")],
)
@needs_openssh
def test_foreign_keys_are_refused(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    path = tmp_path / "k"
    subprocess.run(["ssh-keygen", "-q", *arguments, "-N", "", "-f", path], check=True)
    with pytest.raises(FileProblem, match=r"Ed25519|another format"):
        load_key(path, None)
    with pytest.raises(SignatureProblem, match=r"Ed25519|type"):
        PublicKey.parse((tmp_path / "k.pub").read_text())


# -- OpenSSH -------------------------------------------------------------------------------


@needs_openssh
def test_openssh_reads_our_key_and_shows_the_same_fingerprint(tmp_path: Path) -> None:
    public = make_key(tmp_path / "k", PHRASE, "Ada")
    shown = _run("ssh-keygen", "-lf", tmp_path / "k.pub").stdout.split()[1]
    assert shown == public.fingerprint
    again = _run("ssh-keygen", "-y", "-P", PHRASE, "-f", tmp_path / "k").stdout
    assert PublicKey.parse(again) == public


@needs_openssh
def test_openssh_verifies_our_signature_and_refuses_another_text(tmp_path: Path) -> None:
    (tmp_path / "signers").write_text(f'"Ada Berg" namespaces="{SPACE}" {ADA.public.line()}\n')
    (tmp_path / "x.sig").write_text(sshsig.sign(b"the text\n", ADA, SPACE))

    def verify(text: str, name: str = "Ada Berg", space: str = SPACE) -> int:
        return _run(
            "ssh-keygen", "-Y", "verify", "-f", tmp_path / "signers", "-I", name, "-n", space,
            "-s", tmp_path / "x.sig", text=text, check=False,
        ).returncode  # fmt: skip

    assert verify("the text\n") == 0
    assert verify("the text") != 0
    assert verify("the text\n", name="Ines") != 0
    assert verify("the text\n", space="file") != 0


@pytest.mark.parametrize("hash_name", ["sha512", "sha256"])
@needs_openssh
def test_we_verify_openssh(tmp_path: Path, hash_name: str) -> None:
    key, text = tmp_path / "k", tmp_path / "text"
    text.write_bytes(b"what is signed\r\n\0")
    _run("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key)
    _run("ssh-keygen", "-Y", "sign", "-f", key, "-n", SPACE, "-O", f"hashalg={hash_name}", text)
    armoured = (tmp_path / "text.sig").read_text()
    public = PublicKey.parse((tmp_path / "k.pub").read_text())
    assert sshsig.verify(text.read_bytes(), armoured, SPACE) == public
    with pytest.raises(SignatureProblem, match="altered"):
        sshsig.verify(text.read_bytes() + b"x", armoured, SPACE)
    with pytest.raises(SignatureProblem, match="made for"):
        sshsig.verify(text.read_bytes(), armoured, "bitepoint-decision")
    # The same key and hash give the same signature: Ed25519 is deterministic (RFC 8032).
    if hash_name == "sha512":
        assert sshsig.sign(text.read_bytes(), load_key(key, None), SPACE) == armoured


def _run(*command: object, text: str = "", check: bool = True) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(part) for part in command], input=text, capture_output=True, text=True, check=check
    )


@given(st.integers(0, 10_000), st.integers(0, 7))
def test_a_flipped_bit_in_a_signature_never_passes(place: int, bit: int) -> None:
    armoured = sshsig.sign(b"text", INES, SPACE)
    lines = armoured.strip().split("\n")
    blob = bytearray(base64.b64decode("".join(lines[1:-1])))
    blob[place % len(blob)] ^= 1 << bit
    altered = "\n".join([lines[0], base64.b64encode(blob).decode(), lines[-1]])
    try:
        key = sshsig.verify(b"text", altered, SPACE)
    except SignatureProblem:
        return
    # The reserved field is the only one that nothing hangs on, and it is empty: none can pass.
    raise AssertionError(f"a flipped bit at {place} passed as {key.fingerprint}")


@given(st.text(max_size=300))
def test_no_text_is_a_signature(text: str) -> None:
    begin, end = "-----BEGIN SSH SIGNATURE-----", "-----END SSH SIGNATURE-----"
    for armoured in (text, f"{begin}\n{text}\n{end}"):
        with pytest.raises(SignatureProblem):
            sshsig.verify(b"text", armoured, SPACE)


def test_cryptography_is_loaded_only_when_something_is_signed() -> None:
    code = "import sys, calib_model, calib_model.signoff; print('cryptography' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
