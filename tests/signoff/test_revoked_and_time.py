"""Keys that were revoked, times that are a signer's own word, private keys that others can read."""

from __future__ import annotations

import os
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest

from calib_model.errors import FileProblem
from calib_model.exchange.marking import mark_of
from calib_model.signoff import sshsig
from calib_model.signoff.keys import load_key, make_key
from calib_model.signoff.revoked import Revoked, read_revoked
from calib_model.signoff.signers import parse_signers, read_signers
from calib_model.signoff.statement import NAMESPACE
from calib_model.signoff.verification import State, verify
from tests.signoff.making import ADA, INES, LIST, NOW, START, STRANGER, needs_openssh, signed_off

INES_LINE = INES.public.line("Ines's laptop")


def _specification(form: str) -> str:
    return {
        "key": f"key: {INES_LINE}",
        "sha1": f"sha1: {INES_LINE}",
        "sha256": f"sha256: {INES_LINE}",
        "hash": f"hash: {INES.public.fingerprint}",
    }[form]


@pytest.mark.parametrize(
    "line",
    [INES_LINE, *map(_specification, ("key", "sha1", "sha256", "hash")), INES.public.fingerprint],
)
def test_a_revoked_key_does_not_count(tmp_path: Path, line: str) -> None:
    (tmp_path / "signers").write_text(LIST)
    (tmp_path / "gone").write_text(f"# left in spring\n\n{line}\n")
    assert verify(signed_off(), read_signers(tmp_path / "signers"), now=NOW).genuine
    listed = read_signers(tmp_path / "signers", tmp_path / "gone")
    found = verify(signed_off(), listed, now=NOW)
    assert found.state is State.NOT_GENUINE
    assert f"The key {INES.public.fingerprint} was revoked" in found.reason
    assert not listed.belongs_to(INES.public, ("Ines",))
    assert not listed.belongs_to(INES.public, (INES.public.fingerprint,))
    assert listed.belongs_to(ADA.public, ("Ada Berg",))


def test_a_list_beside_the_signers_is_read_with_them(tmp_path: Path) -> None:
    (tmp_path / "signers").write_text(LIST)
    (tmp_path / "signers.revoked").write_text(INES_LINE)
    (tmp_path / "more").write_text(ADA.public.line())
    assert INES.public in read_signers(tmp_path / "signers").revoked
    both = read_signers(tmp_path / "signers", tmp_path / "more").revoked
    assert INES.public in both
    assert ADA.public in both
    assert STRANGER.public not in both
    (tmp_path / "signers.revoked").unlink()
    (tmp_path / "signers.revoked").symlink_to(tmp_path / "nowhere")
    with pytest.raises(FileProblem, match="Cannot be read"):  # a list that went astray is no list
        read_signers(tmp_path / "signers")


@pytest.mark.parametrize("form", ["plain", "key", "sha1", "sha256", "hash"])
@needs_openssh
def test_lists_that_openssh_makes_are_read_and_mean_the_same(tmp_path: Path, form: str) -> None:
    # Outside check: ssh-keygen makes the list (-k) and verifies a signature with it (-r).
    (tmp_path / "signers").write_text(LIST)
    (tmp_path / "spec").write_text((INES_LINE if form == "plain" else _specification(form)) + "\n")
    made = tmp_path / "spec"
    if form != "plain":
        made = tmp_path / "krl"
        subprocess.run(["ssh-keygen", "-q", "-k", "-f", made, "-z", "3", "spec"],
                       cwd=tmp_path, check=True, capture_output=True)  # fmt: skip
        assert made.read_bytes().startswith(b"SSHKRL")
    listed = read_signers(tmp_path / "signers", made)
    for key, name in ((INES, "Ines"), (ADA, "Ada Berg")):
        (tmp_path / "x.sig").write_text(sshsig.sign(b"text", key, NAMESPACE))
        done = subprocess.run(
            ["ssh-keygen", "-Y", "verify", "-f", "signers", "-I", name, "-n", NAMESPACE,
             "-s", "x.sig", "-r", made],
            cwd=tmp_path, input=b"text", capture_output=True, check=False,
        )  # fmt: skip
        passes = listed.objection(key.public, name, NOW, NAMESPACE) == ""
        assert passes == (done.returncode == 0), done.stderr
        assert passes == (key is ADA)


def test_every_cut_and_flip_of_a_list_is_refused_or_read(tmp_path: Path) -> None:
    data = b"SSHKRL\n\0" + (1).to_bytes(4, "big") + bytes(24) + bytes(8)
    data += b"\2" + (55).to_bytes(4, "big") + (51).to_bytes(4, "big") + b"k" * 51
    whole = tmp_path / "krl"
    whole.write_bytes(data)
    assert read_revoked(whole).blobs == {b"k" * 51}
    for end in range(len(data)):
        whole.write_bytes(data[:end])
        try:
            read = read_revoked(whole)
        except FileProblem:
            continue
        assert read == Revoked(source=str(whole)), end  # cut before its first section, or empty


@pytest.mark.parametrize(
    "text", ["ssh-ed25519", "ssh-ed25519 AAAA", "hash: SHA256:short", "hash: MD5:aa", "ada", "\xff"]
)
def test_a_line_that_is_no_key_refuses_the_list(tmp_path: Path, text: str) -> None:
    (tmp_path / "gone").write_text(f"{INES_LINE}\n{text}\n", encoding="latin-1")
    with pytest.raises(FileProblem, match="line 2"):
        read_revoked(tmp_path / "gone")


def test_a_key_that_counts_by_its_signers_word_only_is_said() -> None:
    # Ines's key ended a minute after she says that she signed; it is ten days later now.
    end = START + timedelta(hours=2, minutes=1)
    lines = LIST.splitlines()
    listed = parse_signers(
        f'{lines[0]}\nInes valid-before="{end:%Y%m%d%H%M%S}Z" {INES.public.line()}\n'
    )
    found = verify(signed_off(), listed, now=NOW)
    assert found.genuine
    (hint,) = found.hints
    assert "own word" in hint
    later = verify(signed_off(), listed, now=NOW, at=NOW)
    assert later.state is State.NOT_GENUINE
    assert "is listed until" in later.reason
    assert verify(signed_off(), listed, now=NOW, at=START).genuine
    assert verify(signed_off(), parse_signers(LIST), now=NOW).hints == ()


def test_what_was_verified_without_a_list_says_so_when_it_leaves() -> None:
    content = signed_off()
    unchecked = mark_of(content, verify(content, None, now=NOW))
    assert unchecked.word == "KEYS-NOT-CHECKED"
    assert unchecked.status.startswith("KEYS NOT CHECKED. No list")
    assert unchecked.name(Path("x.csv")).name == "x_KEYS-NOT-CHECKED.csv"
    assert mark_of(content, verify(content, parse_signers(LIST), now=NOW)).word == ""


@pytest.mark.skipif(os.name != "posix", reason="Windows keeps rights elsewhere")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602, 0o610])
def test_a_private_key_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    # As OpenSSH does (sshkey_perm_ok): any right of group or others.
    make_key(tmp_path / "key", "four words are enough")
    assert load_key(tmp_path / "key", "four words are enough")
    (tmp_path / "key").chmod(mode)
    with pytest.raises(FileProblem, match="Others can read this key"):
        load_key(tmp_path / "key", "four words are enough")
