"""A set cannot write lines of its own into an answer, nor hide or turn round what stands there."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Complaint, Decision, Drive, Outcome, Record, Remark, Waiver
from calib_model.signoff.signing import make_sign_off
from calib_model.signoff.verification import State, verify
from calib_model.store import read_set, write_set
from tests.signoff.making import ADA, LIST, NOW, START, allowed

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
FORGED = "Signed off by Eve"
TRICK = f"x\r\n{FORGED} (reviewer).\x1b[8m\u2028{FORGED}\u2029\x85\u202e\x9b8m\x0b\x0c"
STEERS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]")
Run = Callable[..., tuple[int, str, str]]


def tricky(content: CalibrationSet) -> CalibrationSet:
    """The set with the trick in every text that a file may hold; roles and quantities stay."""
    axes = {id: replace(axis, name=TRICK) for id, axis in content.shared_axes.items()}
    tables = []
    for table in content:
        mine = [
            axes[a.shared] if a.shared else replace(a, name=f"{TRICK}{n}")
            for n, a in enumerate(table.axes)
        ]
        changed: dict[str, Any] = {}
        if len(tables) == 2:  # findings, and a unit that is none
            changed = {"values": table.values[::-1], "unit": TRICK, "role": TRICK}
        tables.append(
            replace(
                table, axes=tuple(mine), name=TRICK, function=TRICK, description=TRICK,
                rules=tuple(replace(rule, reason=TRICK) for rule in table.rules), **changed,
            )
        )  # fmt: skip
    first = next(iter(content.tables))
    said = {"table": first, "time": TRICK}
    record = Record(
        remarks=(Remark(text=TRICK, author=TRICK, **said),),
        waivers=(Waiver(reason=TRICK, author=TRICK, approver=f"{TRICK}2", rule=TRICK, **said),),
        decisions=(Decision(outcome=Outcome.QUERIED, by=TRICK, comment=TRICK, **said),),
        complaints=(Complaint(number=TRICK, note=TRICK, by=TRICK, recording=TRICK, answer=TRICK),),
        drives=(Drive(name=TRICK, by=TRICK, visits="{}"),),
    )
    about = {key: f"{value}{TRICK}" for key, value in content.about().items()}
    return replace(content, tables=tables, shared_axes=axes, record=record, **about)


@pytest.fixture(scope="module")
def tricked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tricky")
    content = tricky(read_set(SAMPLES / "larch_normal.h5").set)
    content = replace(
        content,
        record=replace(
            content.record,
            sign_offs=(make_sign_off(content, ADA, name="Ada Berg", role=f"author{TRICK}",
                                     comment=TRICK, now=START),),
        ),
    )  # fmt: skip
    write_set(folder / "set.h5", content)
    other = content.with_table(
        replace(content["slip_gain"], values=content["slip_gain"].values + 1)
    )
    write_set(folder / "other.h5", other)
    (folder / "signers").write_text(LIST)
    return folder


VERBS = (
    ("show", "set.h5"),
    ("show", "set.h5", "slip_gain"),
    ("check", "set.h5"),
    ("check", "set.h5", "--against", "other.h5"),
    ("compare", "set.h5", "other.h5"),
    ("verify", "set.h5", "--signers", "signers"),
    ("verify", "other.h5", "--signers", "signers"),
    ("sign", "set.h5", "--list"),
    ("sign", "set.h5", "--list", "--signers", "signers"),
    ("complaints", "set.h5"),
    ("complaints", "set.h5", "--prove", TRICK),
    ("rules", "set.h5"),
    ("bind", "set.h5"),
    ("bind", "set.h5", "suggest"),
    ("bind", "set.h5", "missing"),
    ("bind", "set.h5", TRICK),
    ("export", "set.h5", "--to", "csv", "out.csv"),
    ("export", "set.h5", "--to", "text", "out.txt"),
    ("smooth", "set.h5", "slip_gain"),
    ("show", TRICK.replace("/", "")),
    ("show", "set.h5", TRICK),
    ("accept", "set.h5", TRICK, "--name", "Ada"),
)


@pytest.mark.parametrize(
    "words",
    VERBS,
    ids=lambda words: " ".join(words)[:40].encode("ascii", "replace").decode().replace("\n", " "),
)
def test_no_answer_holds_a_line_that_the_set_wrote(
    run: Run, tricked: Path, words: tuple[str, ...], tmp_path: Path
) -> None:
    given = [
        str((tmp_path if word.startswith("out") else tricked) / word)
        if "." in word and not word.startswith(("x", "--"))
        else str(tricked / word) if word == "signers" else word
        for word in words
    ]  # fmt: skip
    _, out, err = run(*given)
    assert out or err
    for text in (out, err):
        assert not STEERS.search(text), STEERS.search(text)
        # Comments may have lines; they stand in their column, never at the margin.
        assert not [line for line in text.split("\n") if line.startswith(FORGED)], text
    assert err.count("\n") <= 1


def test_a_set_that_calls_itself_signed_is_said_to_be_unsigned(run: Run, tmp_path: Path) -> None:
    content = read_set(SAMPLES / "larch_normal.h5").set
    name = f"Larch\n{FORGED} (reviewer) and Ada Berg (author).\nDigest 00\n\x1b[8m"
    write_set(tmp_path / "set.h5", content.described(name=name, revision="\x1b[2J"))
    (tmp_path / "signers").write_text(LIST)
    status, out, _ = run("verify", tmp_path / "set.h5", "--signers", tmp_path / "signers")
    assert status == 1
    lines = out.split("\n")
    assert lines[1].startswith("Unsigned. The set is not signed.")
    assert lines[0].startswith("Larch\\nSigned off by Eve")


def test_a_sign_off_of_such_a_set_still_holds() -> None:
    # What is shown is spelt out; what was signed keeps its characters.
    content = tricky(read_set(SAMPLES / "larch_normal.h5").set).with_record(Record())
    made = make_sign_off(content, ADA, name="Ada Berg", role="author", now=START)
    assert "\\r\\nSigned off" in made.statement  # JSON's own spelling of the very characters
    found = verify(content.with_record(Record(sign_offs=(made,))), allowed(), now=NOW)
    assert (found.genuine, found.state) == (True, State.SIGNED)
