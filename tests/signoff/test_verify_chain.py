"""Verification: what is genuine, what changed since, and every way to be refused."""

from __future__ import annotations

import hashlib
import json
import subprocess
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import calib_model
from calib_model.core.axis import Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.record import Outcome, Remark, SignOff, Waiver
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.errors import FileProblem, ModelError
from calib_model.exchange.release_files import HOW, sign_off_files, write_sign_off_files
from calib_model.rules.limits import Bounds
from calib_model.signoff import signing, sshsig
from calib_model.signoff.decisions import decide
from calib_model.signoff.signers import parse_signers
from calib_model.signoff.signing import make_sign_off
from calib_model.signoff.statement import NAMESPACE
from calib_model.signoff.verification import State, Verification, verify
from calib_model.signoff.wire import SignatureProblem
from calib_model.store import read_set, write_set
from tests.signoff import independent_digest
from tests.signoff.making import (
    ADA,
    INES,
    LIST,
    NOW,
    START,
    STRANGER,
    accepted,
    added,
    allowed,
    needs_openssh,
    signed,
    signed_off,
    small_set,
)

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def found(content: CalibrationSet) -> Verification:
    return verify(content, allowed(), now=NOW)


def test_the_states_on_the_way() -> None:
    content = small_set()
    assert (found(content).genuine, found(content).state) == (False, State.UNSIGNED)
    content = signed(content)
    assert (found(content).genuine, found(content).state) == (True, State.SIGNED)
    assert "reviewer's sign-off is missing" in found(content).reason
    result = found(signed_off())
    assert (result.genuine, result.state, result.reason) == (True, State.SIGNED_OFF, "")
    assert [(s.name, s.role) for s in result.signed_by] == [
        ("Ada Berg", "author"),
        ("Ines", "reviewer"),
    ]
    assert result.digest == digest(small_set())
    assert calib_model.verify(signed_off(), allowed()).genuine


@pytest.mark.parametrize(("minutes", "genuine"), [(-1, True), (4, True), (6, False), (600, False)])
def test_sign_offs_go_forward_in_time_but_for_clocks_that_differ(
    minutes: int, genuine: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(signing, "CLOCK_SLACK", timedelta(days=9))  # a signer that does not look
    author = START + timedelta(hours=4)
    content = accepted(signed(small_set(), when=author))
    content = signed(content, INES, "Ines", "reviewer", author - timedelta(minutes=minutes))
    result = found(content)
    assert result.genuine is genuine
    if not genuine:
        assert result.state is State.NOT_GENUINE
        assert result.reason == "The sign-off of Ines (reviewer) is older than the one before it."


# -- any single change is reported and located ---------------------------------------------


def _cell(c: CalibrationSet) -> CalibrationSet:
    return calib_model.edit(c, "base", {(1,): np.nextafter(2.0, 3.0)})


def _axis(c: CalibrationSet) -> CalibrationSet:
    speed = c.shared_axes["speed"].with_values([0.0, 10.0, 21.0])
    tables = {id: c[id].with_axis(0, speed, c[id].values) for id in ("base", "brake")}
    return c.replaced(tables, {"speed": speed})


def _table(c: CalibrationSet, **changes: object) -> CalibrationSet:
    return c.with_table(replace(c["base"], **changes))  # type: ignore[arg-type]


CHANGES = [
    ("one value by one bit", _cell, {"base"}),
    ("a breakpoint of a shared axis", _axis, {"base", "brake"}),
    ("a rule", lambda c: _table(c, rules=()), {"base"}),
    ("a rule's limit", lambda c: _table(c, rules=(*c["base"].rules, Bounds(upper=9.0))), {"base"}),
    ("a binding", lambda c: _table(c, role="tick"), {"base"}),
    ("a relation", lambda c: _table(c, relations={"towing": ">="}), {"base"}),
    ("a unit", lambda c: _table(c, unit="kN.m"), {"base"}),
    ("a limit", lambda c: _table(c, upper=101.0), {"base"}),
    ("a storage", lambda c: _table(c, storage=Storage.of("uint16", "0.25")), {"base"}),
    ("a table more", lambda c: c.with_table(Table("new", 1.0)), {"new"}),
    ("a table less", lambda c: c.replaced({"tick": None}), {"tick"}),
    ("an axis no table uses", lambda c: c.replaced({}, {"x": replace(
        c.shared_axes["speed"], shared="x", interpolation=Interpolation.STEP)}),
     {"the shared axes"}),
    ("the mode", lambda c: c.described(mode="towing"), {"the mode"}),
    ("the revision", lambda c: c.described(revision="4"), {"the revision"}),
    ("the name", lambda c: c.described(name="Other"), {"the name"}),
    ("a waiver", lambda c: added(c, Waiver(table="base", reason="x")), {"the waivers"}),
    ("a decision", accepted, {"the decisions"}),
]  # fmt: skip


@pytest.mark.parametrize(("what", "change", "places"), CHANGES, ids=[c[0] for c in CHANGES])
def test_any_single_change_is_reported_and_located(what: str, change, places: set[str]) -> None:  # type: ignore[no-untyped-def]
    result = found(change(signed_off()))
    assert (result.genuine, result.state) == (False, State.ALTERED), what
    assert {c.what for c in result.changed_since} == places
    assert result.reason


def test_what_is_no_content_changes_nothing() -> None:
    content = signed_off()
    reordered = content.replaced({}, order=tuple(reversed(content.tables)))
    assert found(reordered).genuine
    assert found(content.described(description="Another text")).genuine
    assert found(added(content, Remark(text="Nice", author="Ada"))).genuine


@pytest.mark.usefixtures("reading_process")
def test_a_repacked_file_verifies_and_a_damaged_one_does_not(tmp_path: Path) -> None:
    first, second = tmp_path / "a.h5", tmp_path / "b.h5"
    write_set(first, signed_off())
    write_set(second, read_set(first).set.described(description="Written again, longer"))
    assert first.read_bytes() != second.read_bytes()
    assert found(read_set(second).set).state is State.SIGNED_OFF


# -- refused in words ----------------------------------------------------------------------


def test_a_key_that_is_not_listed_is_not_genuine() -> None:
    content = signed(small_set(), STRANGER, "Ada Berg")
    result = found(content)
    assert (result.genuine, result.state) == (False, State.NOT_GENUINE)
    assert STRANGER.public.fingerprint in result.reason
    assert "not for Ada Berg" in verify(
        content, parse_signers(f"Eve {STRANGER.public.line()}"), now=NOW
    ).reason  # fmt: skip
    without = verify(signed_off(), None, now=NOW)
    assert (without.genuine, without.state) == (False, State.SIGNED_OFF)
    assert "No list" in without.reason


def _with_sign_offs(content: CalibrationSet, *sign_offs: SignOff) -> CalibrationSet:
    return content.with_record(replace(content.record, sign_offs=sign_offs))


def test_an_altered_sign_off_is_not_genuine() -> None:
    content = signed_off()
    first, second = content.record.sign_offs
    for old, new in (
        ('"role": "reviewer"', '"role": "director"'),
        ('"revision": "3"', '"revision": "4"'),
        ("\n", "\r\n"),
        ('"comment": ""', '"comment": "ok"'),
    ):
        altered = replace(second, statement=second.statement.replace(old, new))
        assert altered != second
        result = found(_with_sign_offs(content, first, altered))
        assert (result.genuine, result.state) == (False, State.NOT_GENUINE), old
    swapped = replace(second, signature=first.signature)
    assert "does not hold" in found(_with_sign_offs(content, first, swapped)).reason
    # A statement that says a thing twice could mean one thing here and another elsewhere.
    twice = second.statement.replace('"set":', '"set": "x",\n "set":')
    assert "damaged" in found(_with_sign_offs(content, replace(second, statement=twice))).reason


@given(st.integers(0, 100_000), st.text(max_size=6), st.integers(0, 6))
def test_no_altered_statement_is_genuine(place: int, new: str, cut: int) -> None:
    content = signed_off()
    first, second = content.record.sign_offs
    place %= len(second.statement)
    text = second.statement[:place] + new + second.statement[place + cut :]
    result = found(_with_sign_offs(content, first, replace(second, statement=text)))
    assert result.genuine is (text == second.statement)


@given(st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
), st.sampled_from(["tables", "time", "content", "previous", "role", "format", "set"]))  # fmt: skip
def test_no_strange_statement_does_harm(value: object, key: str) -> None:
    content = signed(small_set())
    (only,) = content.record.sign_offs
    plain = {**json.loads(only.statement), key: value}
    text = json.dumps(plain)
    strange = SignOff(statement=text, signature=sshsig.sign(text.encode(), ADA, NAMESPACE))
    result = found(_with_sign_offs(content, strange))
    assert not result.genuine or plain == json.loads(only.statement) or key == "role"


def test_a_truncated_or_repeated_chain_is_not_genuine() -> None:
    content = signed_off()
    first, second = content.record.sign_offs
    for sign_offs, words in (
        ((second,), "missing"),
        ((first, replace(first, id="again")), "does not follow"),
    ):
        result = found(_with_sign_offs(content, *sign_offs))
        assert (result.genuine, result.state) == (False, State.NOT_GENUINE)
        assert words in result.reason
    # Each names the one before it, so the order in which they stand is nothing to tell by.
    assert found(_with_sign_offs(content, second, first)) == found(content)
    with pytest.raises(ModelError, match="two of sign-off"):
        _with_sign_offs(content, first, first)


def test_a_sign_off_of_another_set_is_not_genuine() -> None:
    other = small_set().described(mode="low_grip", name="Small, low grip")
    replayed = _with_sign_offs(small_set(), *signed_off(other).record.sign_offs)
    result = found(replayed)
    assert (result.genuine, result.state) == (False, State.ALTERED)
    assert "Small, low grip" in result.reason
    assert "another set" in result.reason
    with pytest.raises(SignatureProblem, match="another set"):
        signed(replayed, ADA, when=NOW)


def test_a_clock_in_the_future_is_noticed() -> None:
    content = signed_off()
    early = verify(content, allowed(), now=START - timedelta(days=1))
    assert (early.genuine, early.state) == (False, State.NOT_GENUINE)
    assert "in the future" in early.reason
    with pytest.raises(SignatureProblem, match="in the future"):
        make_sign_off(
            small_set().with_record(content.record), ADA, name="Ada Berg", role="author",
            now=START - timedelta(days=1),
        )  # fmt: skip


def test_a_signature_outside_its_listed_time_is_not_genuine() -> None:
    late = parse_signers(f'"Ada Berg" valid-after="20260111Z" {ADA.public.line()}\n')
    result = verify(signed(small_set()), late, now=NOW)
    assert (result.genuine, result.state) == (False, State.NOT_GENUINE)


def test_author_and_reviewer_are_two_people_with_two_keys() -> None:
    content = accepted(signed(small_set()))
    for key, name in ((ADA, "Somebody"), (INES, "ada  BERG")):
        with pytest.raises(SignatureProblem, match="two people"):
            signed(content, key, name, "reviewer", NOW)
    # Forged past our own signing, the state is still not "signed off".
    listed = parse_signers(f"* {ADA.public.line()}\n")
    forged = signed(content, ADA, "Eve", "checker", NOW)
    result = verify(forged, listed, now=NOW)
    assert (result.genuine, result.state) == (True, State.SIGNED)


def test_a_waiver_that_the_reviewer_never_saw_is_not_signed_off() -> None:
    content = accepted(small_set())
    content = signed(content, INES, "Ines", "reviewer", START + timedelta(hours=2))
    content = added(content, Waiver(table="base", reason="quietly"))
    content = signed(content, ADA, "Ada Berg", "author", START + timedelta(hours=3))
    result = found(content)
    assert result.genuine
    assert result.state is State.SIGNED, "the reviewer signed other waivers"


@pytest.mark.parametrize("name", ["", "  ", "Ada, Berg", "A*", 'A"', "x" * 201, "a\x00b"])
def test_a_name_that_a_list_cannot_hold_is_refused(name: str) -> None:
    with pytest.raises(SignatureProblem):
        signed(small_set(), ADA, name)


def test_a_second_release_goes_on_from_the_first() -> None:
    content = calib_model.edit(signed_off(), "brake", {(2,): 1.5}).described(revision="4")
    content = signed(content, ADA, "Ada Berg", "author", NOW - timedelta(days=3))
    change = decide(content, ["brake"], Outcome.ACCEPTED, by="Ines", now=NOW - timedelta(days=2))
    content = signed(apply(content, change), INES, "Ines", "reviewer", NOW - timedelta(days=1))
    result = found(content)
    assert (result.state, len(content.record.sign_offs)) == (State.SIGNED_OFF, 4)
    assert len(result.signed_by) == 2
    # The second release's values under the first release's sign-offs: the chain is shorter, but
    # what it is for is other values.
    cut = _with_sign_offs(content, *content.record.sign_offs[:2])
    assert {c.what for c in found(cut).changed_since} == {"brake", "the revision", "the decisions"}


def test_who_signed_an_earlier_revision_did_not_sign_this_one() -> None:
    # The same values: nothing but the revision tells the sign-offs apart.
    content = signed_off().described(revision="4")
    assert found(content).signed_by == ()
    assert found(content).state is State.ALTERED
    result = found(signed(content, ADA, "Ada Berg", "author", NOW - timedelta(days=1)))
    assert [who.role for who in result.signed_by] == ["author"]
    assert result.state is State.SIGNED  # the reviewer's word was for revision 3


# -- without this project --------------------------------------------------------------------


@needs_openssh
def test_a_reviewer_with_openssh_and_sha256sum_verifies_it(tmp_path: Path) -> None:
    content = signed_off()
    folder = tmp_path / "hand-over"
    write_sign_off_files(content, folder)
    (tmp_path / "allowed_signers").write_text(LIST)
    steps = [
        line.strip().replace("-f allowed_signers", "-f ../allowed_signers")
        for line in (folder / HOW).read_text().splitlines()
        if line.strip().startswith("ssh-keygen")
    ]
    assert len(steps) == 2
    for step in steps:  # the very lines that the reviewer is told to type
        done = subprocess.run(step, shell=True, cwd=folder, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        assert 'Good "bitepoint-signoff" signature' in done.stdout
    last = json.loads((folder / "sign_off_2.json").read_bytes())
    for key, name in (
        ("content", "content.txt"),
        ("waivers", "waivers.json"),
        ("decisions", "decisions.json"),
        ("maturity", "maturity.json"),
        ("previous", "sign_off_1.json"),
    ):
        assert last[key] == hashlib.sha256((folder / name).read_bytes()).hexdigest(), key


def test_hand_over_never_writes_into_a_folder_that_is_there(tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    with pytest.raises(FileProblem, match="already"):
        write_sign_off_files(signed_off(), tmp_path / "x")
    assert not list((tmp_path / "x").iterdir())


def test_a_name_cannot_smuggle_a_command_into_the_instructions() -> None:
    content = signed(small_set(), ADA, "x'; touch evil; '")
    how = sign_off_files(content)[HOW].decode()
    assert "-I 'x'\"'\"'; touch evil; '\"'\"'' -n" in how


@pytest.mark.usefixtures("reading_process")
def test_the_signed_sample_set_verifies_with_its_demo_list() -> None:
    content = read_set(SAMPLES / "larch_normal_signed.h5").set
    result = verify(content, SAMPLES / "allowed_signers")
    assert (result.genuine, result.state) == (True, State.SIGNED_OFF)
    normal = read_set(SAMPLES / "larch_normal.h5").set
    moved = _with_sign_offs(normal, *content.record.sign_offs)
    changed = {c.what for c in verify(moved, SAMPLES / "allowed_signers").changed_since}
    assert "pre_engage_torque" in changed
    assert {"the revision"} <= changed


def test_digest_from_the_columns_by_an_independent_script(tmp_path: Path) -> None:
    """Written against the documented formats alone; nothing of the project is used."""
    path = tmp_path / "x.h5"
    for name in ("larch_normal_signed.h5", "larch_low_grip.h5"):
        content = read_set(SAMPLES / name).set
        write_set(path, content)
        assert independent_digest.digest(str(path)) == digest(content)
        assert independent_digest.digest(str(SAMPLES / name)) == digest(content)


def test_a_reviewer_whose_name_looks_like_the_authors_is_pointed_out() -> None:
    content = signed(accepted(signed(small_set())), INES, "\u0410da Berg", "reviewer")
    names = parse_signers(LIST + f'"\u0410da Berg" {INES.public.line()}\n')
    verified = verify(content, names, now=NOW)
    assert verified.state is State.SIGNED_OFF
    assert "look alike" in verified.hints[0]
    assert verify(signed_off(), allowed(), now=NOW).hints == ()
