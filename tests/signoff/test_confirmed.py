"""A programme file brings no signers and no owners until somebody confirmed them here."""

from __future__ import annotations

from pathlib import Path

import pytest

from calib_model.errors import FileProblem
from calib_model.rules.check import check
from calib_model.session.programme import Programme, read_programme
from calib_model.signoff.confirmed import State, claim_of, confirm, forget, missing, state_of, taken
from calib_model.signoff.gate import Obstacle, gate
from calib_model.store.places import state_folder
from tests.signoff.making import LIST, STRANGER, accepted, small_set

TEXT = """
programme = "Larch"
base = "normal"
signers = "signers"
[sets]
normal = "a.h5"
[owners]
"Braking" = ["Ines"]
"""


@pytest.fixture(autouse=True)
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine on which nothing was confirmed yet."""
    monkeypatch.setenv("BITEPOINT_STATE_DIR", str(tmp_path / "state"))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A programme file with a list of signers and owners."""
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "signers").write_text(LIST, encoding="utf-8")
    (folder / "larch.toml").write_text(TEXT, encoding="utf-8")
    return folder / "larch.toml"


def state(file: Path) -> State:
    return state_of(claim_of(read_programme(file)))


def test_nothing_counts_before_it_was_confirmed_and_all_after(file: Path) -> None:
    programme = read_programme(file)
    took = taken(programme)
    assert (took.state, took.signers, dict(took.programme.owners)) == (State.NEW, None, {})
    assert "not confirmed on this machine" in took.note
    assert took.programme.sets == programme.sets, "the sets count all the same"
    confirm(claim_of(programme))
    took = taken(programme)
    assert (took.state, took.note, took.programme) == (State.CONFIRMED, "", programme)
    assert took.signers is not None
    assert len(took.signers.signers) == 2
    assert taken(programme, with_signers=False).signers is None
    assert forget(programme)
    assert not forget(programme)
    assert state(file) is State.NEW


@pytest.mark.parametrize("what", ["list", "owner", "no owner", "no signers", "other list"])
def test_another_list_or_other_owners_are_asked_for_again(file: Path, what: str) -> None:
    confirm(claim_of(read_programme(file)))
    text = file.read_text(encoding="utf-8")
    if what == "list":
        with (file.parent / "signers").open("a", encoding="utf-8") as signers:
            signers.write(f"Ines {STRANGER.public.line()}\n")
    elif what == "other list":
        (file.parent / "mine").write_text(LIST, encoding="utf-8")
        text = text.replace('"signers"', '"mine"')
    elif what == "owner":
        text = text.replace('["Ines"]', '["Ines", "Mallory"]')
    elif what == "no owner":
        text = text[: text.index("[owners]")]
    else:
        text = text.replace('signers = "signers"', "")
    file.write_text(text, encoding="utf-8")
    took = taken(read_programme(file))
    assert (took.state, took.blocks, took.signers) == (State.CHANGED, True, None)
    assert dict(took.programme.owners) == {}
    file.write_text(TEXT, encoding="utf-8")
    (file.parent / "signers").write_text(LIST, encoding="utf-8")
    assert state(file) is State.CONFIRMED, "as it was confirmed"


def test_what_has_no_bearing_on_trust_may_change(file: Path) -> None:
    confirm(claim_of(read_programme(file)))
    file.write_text(TEXT.replace("[owners]", '[common]\ntables = ["x"]\n[owners]'))
    assert state(file) is State.CONFIRMED


def test_a_copy_of_the_folder_elsewhere_is_asked_for(file: Path, tmp_path: Path) -> None:
    confirm(claim_of(read_programme(file)))
    other = tmp_path / "mailed"
    other.mkdir()
    for name in ("larch.toml", "signers"):
        (other / name).write_bytes((file.parent / name).read_bytes())
    assert state(other / "larch.toml") is State.NEW


def test_a_list_that_cannot_be_read_counts_for_nothing(file: Path) -> None:
    (file.parent / "signers").unlink()
    took = taken(read_programme(file))
    assert (took.signers, took.blocks) == (None, True)
    assert "signers" in took.note


def test_a_confirmed_programme_that_is_gone_is_missed(file: Path) -> None:
    programme = read_programme(file)
    assert missing(file.parent / "a.h5", None) == []
    confirm(claim_of(programme))
    assert missing(file.parent / "a.h5", programme) == []
    for used in (None, Programme(name="Larch", path=file.with_name("other.toml"))):
        (text,) = missing(file.parent / "a.h5", used)
        assert "larch.toml" in text
    assert missing(file.parent / "b.h5", None) == []


def test_a_damaged_list_of_what_was_confirmed_is_no_empty_one(file: Path) -> None:
    confirm(claim_of(read_programme(file)))
    place = state_folder() / "confirmed.json"
    for text in ("", "[]", '{"programmes": {"x": 1}}', place.read_text()[:-9]):
        place.write_text(text)
        with pytest.raises(FileProblem, match="confirmed"):
            state(file)


def test_what_was_not_confirmed_blocks_a_reviewer_not_an_author() -> None:
    content = accepted(small_set())
    found = gate(content, check(content), unconfirmed=["Owners of larch.toml were not confirmed."])
    (item,) = found.blocking()
    assert (item.kind, "--confirm" in item.remedy) == (Obstacle.RIGHTS, True)
    assert found.blocking("author") == ()
