"""The change note quotes the edits since the earlier state: all of them, and no others."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import calib_model
from app.__main__ import main
from calib_model.core.record import Standing
from calib_model.reports.change_note import change_note
from calib_model.session.complaints import answered, by_number, raised
from calib_model.session.files import open_document, save_document
from calib_model.session.history import Entry
from calib_model.session.since import edits_since
from calib_model.store import read_set
from tests.signoff.making import small_set


def entries(path: Path) -> list[Entry]:
    return [Entry(plain, True) for plain in read_set(path).history.entries()]


@pytest.fixture
def edited(tmp_path: Path) -> Callable[..., Path]:
    """A set file, with edits of the last cell of its table ``brake``, each saved with a reason."""
    path = tmp_path / "set.h5"
    calib_model.save_set(small_set(), path)

    def edit(value: float, reason: str) -> Path:
        content = calib_model.edit(calib_model.open_set(path), "brake", {(2,): value})
        calib_model.save_set(content, path, reason=reason, author="Ada")
        return path

    edit(3.0, "")  # makes the file known
    return edit


def test_a_scripted_edit_keeps_its_reason_and_author(edited: Callable[..., Path]) -> None:
    path = edited(4.0, " warmer brakes ")
    last = entries(path)[-1]
    assert (last.reason, last.author) == ("warmer brakes", "Ada")
    calib_model.save_set(calib_model.edit(calib_model.open_set(path), "tick", 0.02), path)
    assert entries(path)[-1].author, "nobody is not a name"


@pytest.mark.usefixtures("reading_process")
def test_a_note_of_one_edit_has_exactly_that_edit(
    edited: Callable[..., Path], tmp_path: Path
) -> None:
    path = edited(4.0, "in the base already")
    before = calib_model.open_set(path)
    calib_model.save_set(before, tmp_path / "before.h5")
    edited(5.0, "this one")
    html = change_note(calib_model.open_set(path), before, "before", entries(path))
    assert html.count("this one") == 1
    assert "in the base already" not in html
    assert "without a reason" not in html
    out = tmp_path / "note.html"
    arguments = ["summary", path, "--changes", "--since", tmp_path / "before.h5", "--to", "html"]
    assert main([str(a) for a in (*arguments, out)]) == 0
    text = out.read_text(encoding="utf-8")
    assert ("this one" in text, "in the base already" in text) == (True, False)


def test_edits_there_and_back_before_it_are_left_out(edited: Callable[..., Path]) -> None:
    before = calib_model.open_set(edited(4.0, "first"))
    edited(5.0, "up")
    edited(4.0, "down again")
    path = edited(6.0, "last")
    (found,) = edits_since(calib_model.open_set(path), entries(path), before).values()
    assert [entry.reason for entry in found or ()] == ["last"]


def test_where_the_history_does_not_tell_the_note_says_so(edited: Callable[..., Path]) -> None:
    path = edited(4.0, "this one")
    stranger = calib_model.edit(small_set(), "brake", {(2,): 99.0})
    html = change_note(calib_model.open_set(path), stranger, "another set", entries(path))
    assert "The history does not tell by which edits." in html
    assert "this one" not in html


@pytest.mark.usefixtures("reading_process")
def test_a_complaint_answered_before_is_not_behind_these_changes(
    edited: Callable[..., Path],
) -> None:
    path = edited(4.0, "first")
    document = open_document(path, "Ada")
    document.do(raised(document.content, "judders", by="Ada", tables=["brake"]))
    document.do(
        answered(document.content, by_number(document.content, "C-1"), "raised it", ["brake"])
    )
    save_document(document)
    before = document.content
    assert before.record.complaints[0].standing is Standing.ANSWERED
    edited(5.0, "second")
    html = change_note(calib_model.open_set(path), before, "before", entries(path))
    behind = html[html.index("Complaints behind") : html.index("Other complaints")]
    assert "judders" not in behind
