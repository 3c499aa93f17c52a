"""Lists of allowed signers against OpenSSH itself, on hundreds of made-up lines.

Outside check: ``ssh-keygen -Y verify``, a process a list.  What it refuses must never pass here;
what it lets pass must pass here too, but for the few forms named in `STRICTER`.
"""

from __future__ import annotations

import random
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from calib_model.errors import FileProblem
from calib_model.signoff import sshsig
from calib_model.signoff.signers import parse_signers
from tests.signoff.making import ADA, INES, START, needs_openssh

SPACE = "bitepoint-signoff"
KEY = ADA.public.line()
OTHER = INES.public.line()
BLOB = KEY.split()[1]

# Forms that OpenSSH 9.2 refuses.  Each passed once, or could have.
REFUSED = [
    'ada namespaces="" {key}',
    "ada namespaces=bitepoint-signoff {key}",
    'ada namespaces="bitepoint-signoff {key}',
    'ada namespaces=bitepoint-signoff" {key}',
    'ada namespaces="file",namespaces="bitepoint-signoff" {key}',
    'ada namespaces="bitepoint-signoff",namespaces="bitepoint-signoff" {key}',
    'ada namespaces="bitepoint-signoff", {key}',
    'ada namespaces ="bitepoint-signoff" {key}',
    'ada namespaces= "bitepoint-signoff" {key}',
    'ada namespaces="bitepoint-signoff" , {key}',
    'ada namespaces="bitepoint-signoff"x {key}',
    "ada valid-after=20200101Z {key}",
    'ada valid-after="20200101Z",valid-after="20200101Z" {key}',
    'ada valid-before="20300101Z",valid-before="20300101Z" {key}',
    'ada valid-after="" {key}',
    'ada valid-before="" {key}',
    'ada valid-after="2020-01-01" {key}',
    'ada valid-after="20200101T" {key}',
    'ada valid-after="202001Z" {key}',
    'ada valid-after="20250101Z",valid-before="20250101Z" {key}',
    'ada valid-after="20300101Z",valid-before="20200101Z" {key}',
    'ada valid-after="19700101Z" {key}',
    'ada "namespaces=bitepoint-signoff" {key}',
    'ada namespaces="a b {key}',
    "ada namespaces {key}",
    'ada "" {key}',
    "ada , {key}",
    "ada = {key}",
    "ada no-touch-required {key}",
    'ada namespaces="bitepoint-signoff" valid-after="20200101Z" {key}',
    'ada\tnamespaces="bitepoint-signoff"\tvalid-after="20200101Z" {key}',
    'ada "x {key}',
    '"ada {key}',
    '"ada",ines {key}',
    "ada, ines {key}",
    "ada ines {key}",
    "ada\x0b{key}",
    "ada\u00a0{key}",
    "ada\u3000{key}",
    "\u00a0ada {key}",
    "\ufeffada {key}",
    "ada SSH-ED25519 {blob}",
    "ada ssh-ed25519 {blob}=",
    "ada ssh-ed25519 {blob}====",
    "ada ssh-ed25519 {blob}AAAA",
    "ada ssh-ed25519\x0b{blob}",
    "ada ssh-rsa {blob}",
    "ada ssh-ed25519-x {blob}",
    "ada {blob}",
    "{key}",
    "Ada {key}",
    '"" {key}',
    "!ada {key}",
    "\rada {key}",
    "\u0430da {key}",
]
PASSING = [
    'ada ,namespaces="bitepoint-signoff" {key}',
    'ada namespaces="bitepoint-signoff",,valid-after="20200101Z" {key}',
    "ada {key}",
    "\t ada \t {key} and a comment",
    "ada {key}\r",
    '"ada"{key}',
    'a"da" {key}',
    'ada NAMESPACES="bitepoint-*" {key}',
    'ada namespaces="a b,bitepoint-signoff" {key}',
    'ada namespaces="x\\",bitepoint-signoff" {key}',
    'ada valid-after="20200101z" {key}',
    ',ada, {key}',
]  # fmt: skip
STRICTER = "a day or second that the calendar has not; another line of the list is damaged"


def ours(text: str, name: str = "ada") -> bool:
    try:
        listed = parse_signers(text)
    except FileProblem:
        return False
    return listed.objection(ADA.public, name, START, SPACE) == ""


def openssh(folder: Path, text: str, name: str = "ada") -> bool:
    (folder / "signers").write_text(text, newline="")
    done = subprocess.run(
        ["ssh-keygen", "-Y", "verify", "-f", "signers", "-I", name, "-n", SPACE, "-s", "x.sig",
         "-O", f"verify-time={START:%Y%m%d%H%M%S}Z"],
        cwd=folder, input=b"text", capture_output=True, check=False, env={"TZ": "UTC"},
    )  # fmt: skip
    return done.returncode == 0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "x.sig").write_text(sshsig.sign(b"text", ADA, SPACE))
    return tmp_path


def _line(form: str) -> str:
    return form.format(key=KEY, blob=BLOB) + "\n"


@pytest.mark.parametrize("form", REFUSED)
def test_what_openssh_refuses_is_refused(form: str) -> None:
    assert not ours(_line(form))


@pytest.mark.parametrize("form", PASSING)
def test_what_openssh_lets_pass_passes(form: str) -> None:
    assert ours(_line(form))


@needs_openssh
def test_openssh_says_so_itself(folder: Path) -> None:
    assert [form for form in REFUSED if openssh(folder, _line(form))] == []
    assert [form for form in PASSING if not openssh(folder, _line(form))] == []


def _made_up(shake: random.Random) -> str:
    """A list of one or two lines, most of them near to sound ones."""

    def mostly(usual: list[str], odd: list[str]) -> str:
        return shake.choice(usual if shake.random() < 0.88 else odd)

    lines = []
    for _ in range(shake.choice((1, 1, 1, 2))):
        names = mostly(
            ["ada", '"ada"', "ines,ada", "a?a", "*", "ada,", ",ada", 'a"da"'],
            ["!ada,*", "ines", '"Ada Berg"', "ad", '"ada', "å?a", "?da", "a\u00e5?", "ada,!a*"],
        )
        options = []
        for kind in shake.sample(range(4), shake.choice((0, 0, 1, 1, 2, 3))):
            name, good, odd = (
                ("namespaces", ["bitepoint-*", "file,bitepoint-signoff", "*", "a b,*"],
                 ["", "file", "!bitepoint-signoff,*", "Bitepoint-signoff"]),
                ("valid-after", ["20200101Z", "202001011200", "20200101120000z"],
                 ["", "20300101", "19691231Z", "20200101T", "+1w", "2020"]),
                ("valid-before", ["20300101", "203001011200Z", "20300101120000Z"],
                 ["", "20200101Z", "19700101Z", "20301301Z"]),
                ("NameSpaces", ["*"], ["x"]),
            )[kind]  # fmt: skip
            name = mostly([name], ["cert-authority", "x", f"{name} ", f" {name}"])
            value, quote = mostly(good, odd), mostly(['"'], ["", "'", '\\"'])
            options.append(mostly([f"{name}={quote}{value}{quote}"], [name, f"{name}={quote}"]))
        joined = mostly([","], [",,", ", ", " ", "\t"]).join(options)
        joined += mostly([""], [",", "x", '"', "="])
        key = mostly([KEY], [OTHER, KEY[:-4], KEY + "=", KEY.upper(), KEY.replace(" ", "  ")])
        gap = mostly([" ", "\t", "  "], ["\x0b", "\u00a0", "\r"])
        tail = mostly(["", " laptop", "\r", "\t"], [' "x', "\u00a0"])
        parts = [names, *([joined] if joined else []), key]
        lines.append(mostly(["", " "], ["\r", "#", "\u3000"]) + gap.join(parts) + tail)
    return "\n".join(lines) + shake.choice(["\n", ""])


def _held_against_openssh(folder: Path, count: int, seed: int) -> Counter[tuple[bool, bool]]:
    shake = random.Random(seed)
    seen: Counter[tuple[bool, bool]] = Counter()
    for _ in range(count):
        text = _made_up(shake)
        theirs, mine = openssh(folder, text), ours(text)
        assert theirs or not mine, f"OpenSSH refuses what passes here: {text!r}"
        if theirs and not mine:
            # Only where another line of the list is none; see STRICTER.
            assert len(text.strip().split("\n")) > 1, f"refused, but OpenSSH passes it: {text!r}"
        seen[theirs, mine] += 1
    return seen


@needs_openssh
def test_hundreds_of_lists_are_judged_as_openssh_does(folder: Path) -> None:
    seen = _held_against_openssh(folder, 300, 7)
    assert seen[True, True] > 30, seen
    assert seen[False, False] > 100, seen


@pytest.mark.slow
@needs_openssh
def test_thousands_of_lists_are_judged_as_openssh_does(folder: Path) -> None:
    seen = _held_against_openssh(folder, 10_000, 11)
    assert seen[True, True] > 1000, seen


def test_a_bytes_order_mark_is_refused_as_openssh_does(tmp_path: Path) -> None:
    from calib_model.signoff.signers import read_signers

    (tmp_path / "signers").write_text(f"\ufeffada {KEY}\n", encoding="utf-8")
    with pytest.raises(FileProblem, match="mark"):
        read_signers(tmp_path / "signers")
