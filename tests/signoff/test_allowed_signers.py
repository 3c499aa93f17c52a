"""Lists of allowed signers, read as OpenSSH reads them."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import given
from hypothesis import strategies as st

from calib_model.errors import FileProblem
from calib_model.signoff import sshsig
from calib_model.signoff.signers import parse_signers, read_signers
from tests.signoff.making import ADA, INES, NOW, START, needs_openssh

SPACE = "bitepoint-signoff"
KEY = ADA.public.line()

# (line before the key, name asked for, whether OpenSSH lets it pass)
CASES = [
    ("ada", "ada", True),
    ("ada", "Ada", False),
    ('"Ada Berg"', "Ada Berg", True),
    ("ines,ada", "ada", True),
    ("a?a", "ada", True),
    ("*", "anybody", True),
    ("!ada,*", "ada", False),
    ("*,!ada", "ada", False),
    ('ada namespaces="bitepoint-*"', "ada", True),
    ('ada namespaces="file,git"', "ada", False),
    ('ada namespaces="file,bitepoint-signoff"', "ada", True),
    ('ada valid-after="20260101Z"', "ada", True),
    ('ada valid-after="20260115Z"', "ada", False),
    ('ada valid-before="202601100759Z"', "ada", False),
    ('ada valid-before="202601100800Z"', "ada", True),
    ('ada valid-after="20260101Z",valid-before="20260201000000Z"', "ada", True),
]


@pytest.mark.parametrize(("start", "name", "passes"), CASES)
def test_a_list_means_what_it_says(start: str, name: str, passes: bool) -> None:
    listed = parse_signers(f"# comment\n\n{start} {KEY} laptop\n")
    assert (listed.objection(ADA.public, name, START, SPACE) == "") is passes


@pytest.mark.parametrize(("start", "name", "passes"), CASES)
@needs_openssh
def test_openssh_agrees(tmp_path: Path, start: str, name: str, passes: bool) -> None:
    (tmp_path / "signers").write_text(f"# comment\n\n{start} {KEY} laptop\n")
    (tmp_path / "x.sig").write_text(sshsig.sign(b"text", ADA, SPACE))
    done = subprocess.run(
        ["ssh-keygen", "-Y", "verify", "-f", "signers", "-I", name, "-n", SPACE, "-s", "x.sig",
         "-O", f"verify-time={START:%Y%m%d%H%M%S}Z"],
        cwd=tmp_path, input=b"text", capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode == 0) is passes, done.stderr


def test_a_key_that_is_not_listed_or_not_for_that_name_is_named() -> None:
    listed = parse_signers(f"ada {KEY}\n")
    assert INES.public.fingerprint in listed.objection(INES.public, "ada", START, SPACE)
    assert "listed for ada, not for ines" in listed.objection(ADA.public, "ines", START, SPACE)
    assert listed.belongs_to(ADA.public, ("somebody", "ada"))
    assert listed.belongs_to(INES.public, (INES.public.fingerprint,))
    assert not listed.belongs_to(INES.public, ("ada",))


def test_other_kinds_of_line_are_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "signers"
    other = ec.generate_private_key(ec.SECP256R1()).public_key()
    line = other.public_bytes(Encoding.OpenSSH, PublicFormat.OpenSSH).decode()
    path.write_text(f"ca cert-authority {KEY}\nada {KEY}\nrob {line}\n")
    listed = read_signers(path)
    assert [s.line for s in listed.signers] == [2]
    assert [text.split(":")[0] for text in listed.ignored] == ["line 1", "line 3"]


@pytest.mark.parametrize(
    "line",
    ["ada", KEY, f"ada what=1 {KEY}", f'"ada {KEY}', f'ada valid-after="soon" {KEY}',
     f"ada one two {KEY}", "rob ssh-rsa AAAAB3NzaC1yc2EAAAADAQAB"],
)  # fmt: skip
def test_a_line_that_is_none_is_named(line: str) -> None:
    with pytest.raises(FileProblem, match="line 2"):
        parse_signers(f"ada {KEY}\n{line}\n")


def test_a_missing_or_foreign_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="Cannot be read"):
        read_signers(tmp_path / "none")
    (tmp_path / "x").write_bytes(b"\xff\xfe")
    with pytest.raises(FileProblem, match="UTF-8"):
        read_signers(tmp_path / "x")


@given(st.text(max_size=200))
def test_no_text_lets_a_stranger_pass(text: str) -> None:
    try:
        listed = parse_signers(text)
    except FileProblem:
        return
    assert listed.objection(ADA.public, "ada", datetime.now(UTC), SPACE)


def test_a_pattern_of_many_stars_is_quick() -> None:
    listed = parse_signers(f"{'*a' * 200} {KEY}\n")
    assert listed.objection(ADA.public, "b" * 2000, NOW, SPACE)


def test_a_key_that_was_renewed_counts_though_its_first_entry_ended() -> None:
    text = f'Ines valid-before="20250101Z" {INES.public.line()}\nInes {INES.public.line()}\n'
    assert parse_signers(text).objection(INES.public, "Ines", NOW, "bitepoint-signoff") == ""
    ended = parse_signers(text.splitlines()[0])
    assert "until 2025-01-01" in ended.objection(INES.public, "Ines", NOW, "bitepoint-signoff")
