"""Edits that are made while a save runs, reasons, and what the file then holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import Change, apply, change_from_plain, values_change
from calib_model.errors import EditRefused, FileChanged, FileProblem
from calib_model.session import files
from calib_model.session.document import Document
from calib_model.session.history import (
    content_after,
    describe_change,
    entries_of,
    restore_change,
)
from calib_model.session.recovery import end_journal, start_journal


def a_set() -> CalibrationSet:
    axis = Axis([0.0, 10.0, 20.0], "Pedal", "%")
    return CalibrationSet(
        [
            Table("torque", [1.0, 2.0, 3.0], (axis,), "Torque", "N.m"),
            Table("gain", 4.0, (), "Gain"),
        ],
        name="Demo",
    )


def set_to(document: Document, value: float, id: str = "torque", merge: str = "") -> Change:
    table = document.content[id]
    values = np.array(table.values)
    values.reshape(-1)[0] = value
    return values_change(table, values, f"Set {id} to {value:g}", merge=merge)


def titles(document: Document) -> list[str]:
    return [entry.title for entry in entries_of(document)]


def replayed(document: Document, start: CalibrationSet) -> CalibrationSet:
    """The history walked forwards: it must lead to what the document holds."""
    for entry in entries_of(document):
        start = apply(start, entry.change())
    return start


def test_edits_during_a_save_stay_pending() -> None:
    document = Document(a_set())
    document.do(set_to(document, 5))
    snapshot = document.begin_save()
    document.do(set_to(document, 6))
    document.mark_saved(snapshot.content)
    assert [c.title for c in document.pending] == ["Set torque to 6"]
    assert len(document.history) == 1
    assert document.is_modified
    assert titles(document) == ["Set torque to 5", "Set torque to 6"]


def test_an_undo_during_a_save_is_a_change_of_its_own() -> None:
    document = Document(a_set())
    document.do(set_to(document, 5))
    snapshot = document.begin_save()
    document.undo()
    document.mark_saved(snapshot.content)
    # The file holds the 5; going back to 1 must be saved again.
    assert [c.title for c in document.pending] == ["Undo Set torque to 5"]
    assert document.is_modified
    assert replayed(document, a_set()) == document.content == a_set()


def test_a_drag_that_goes_on_during_a_save_is_not_merged_into_what_was_written() -> None:
    document = Document(a_set())
    document.do(set_to(document, 5, merge="drag"))
    snapshot = document.begin_save()
    document.do(set_to(document, 6, merge="drag"))
    document.do(set_to(document, 7, merge="drag"))
    document.mark_saved(snapshot.content)
    assert len(document.history) == 1
    assert len(document.pending) == 1
    assert replayed(document, a_set()) == document.content
    document.undo()
    assert document.content["torque"].values[0] == 5


def test_a_failed_save_leaves_every_change_pending() -> None:
    document = Document(a_set())
    document.do(set_to(document, 5))
    document.begin_save()
    document.do(set_to(document, 6))
    document.save_failed()
    assert len(document.pending) == 2
    assert len(document.history) == 0
    document.undo()
    assert len(document.pending) == 1


steps = st.lists(
    st.sampled_from(["edit", "drag", "other", "undo", "redo", "begin", "end", "fail", "reason"]),
    max_size=25,
)


@given(steps)
def test_the_history_always_leads_to_the_present_state(what: list[str]) -> None:
    document = Document(a_set())
    snapshot = None
    for number, step in enumerate(what):
        if step in ("edit", "drag"):
            document.do(set_to(document, 10 + number, merge="m" if step == "drag" else ""))
        elif step == "other":
            document.do(set_to(document, 10 + number, "gain"))
        elif step == "undo":
            document.undo()
        elif step == "redo":
            document.redo()
        elif step == "reason":
            document.give_reason("because")
        elif step == "begin" and snapshot is None:
            snapshot = document.begin_save()
        elif step == "end" and snapshot is not None:
            document.mark_saved(snapshot.content)
            assert apply_all(a_set(), document.history) == document.saved_content
            snapshot = None
        elif step == "fail" and snapshot is not None:
            document.save_failed()
            snapshot = None
        assert replayed(document, a_set()) == document.content


def apply_all(content: CalibrationSet, history) -> CalibrationSet:  # type: ignore[no-untyped-def]
    for plain in history.entries():
        content = apply(content, change_from_plain(plain))
    return content


def test_a_reason_is_given_to_the_last_change_only() -> None:
    document = Document(a_set())
    assert document.last_reason is None
    assert not document.give_reason("nothing to give it to")
    document.do(set_to(document, 5))
    document.do(set_to(document, 6))
    assert document.give_reason("trip on ice")
    assert [e.reason for e in entries_of(document)] == ["", "trip on ice"]
    document.undo()
    document.redo()
    assert document.content["torque"].values[0] == 6


# -- with real files -----------------------------------------------------------------------------


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    document = Document(a_set(), author="Ada")
    path = tmp_path / "demo.h5"
    document.do(set_to(document, 5))
    document.give_reason("first")
    files.save_document(document, path)
    assert document.path == path
    assert not document.is_modified
    return path


@pytest.mark.usefixtures("reading_process")
def test_a_saved_set_opens_with_its_history(saved: Path) -> None:
    document = files.open_document(saved, "Bob")
    assert document.content["torque"].values[0] == 5
    assert [(e.title, e.author, e.reason) for e in entries_of(document)] == [
        ("Set torque to 5", "Ada", "first")
    ]
    document.do(set_to(document, 6))
    document.undo()
    document.do(set_to(document, 7))
    files.save_document(document)
    again = files.open_document(saved)
    assert [(e.title, e.author) for e in entries_of(again)] == [
        ("Set torque to 5", "Ada"),
        ("Set torque to 7", "Bob"),
    ]


def test_an_earlier_state_is_restored_as_one_edit(saved: Path) -> None:
    document = files.open_document(saved)
    document.do(set_to(document, 6))
    document.do(set_to(document, 9, "gain"))
    files.save_document(document)
    document.do(set_to(document, 8))
    entries = entries_of(document)
    assert content_after(document.content, entries) == a_set()
    before = document.content
    document.do(restore_change(document, entries, 0))
    assert document.content["torque"].values[0] == 5
    assert document.content["gain"].values == 4
    assert document.undo_title.startswith("Restore the set as it was after")
    document.undo()
    assert document.content == before
    document.do(restore_change(document, entries_of(document), -1))
    assert document.content == a_set()


def test_a_history_with_a_gap_is_said_to_have_one(saved: Path) -> None:
    document = files.open_document(saved)
    entries = entries_of(document)
    changed = document.content.with_table(document.content["torque"].with_values([9.0, 2.0, 3.0]))
    with pytest.raises(EditRefused, match="cannot be followed back past “Set torque to 5”"):
        content_after(changed, entries)


def test_the_words_of_a_change_name_table_place_and_unit() -> None:
    document = Document(a_set())
    assert describe_change(set_to(document, 5), document.content) == [
        "Torque at Pedal 0 %: 1 → 5 N·m"
    ]
    assert describe_change(set_to(document, 5, "gain"), document.content) == ["Gain: 4 → 5"]


@pytest.mark.usefixtures("reading_process")
def test_a_file_that_another_program_changed_is_not_replaced(saved: Path) -> None:
    document = files.open_document(saved)
    assert files.outside_state(document) == "same"
    other = files.open_document(saved)
    other.do(set_to(other, 77))
    files.save_document(other)
    document.do(set_to(document, 6))
    assert files.outside_state(document) == "changed"
    with pytest.raises(FileChanged):
        files.save_document(document)
    assert files.open_document(saved).content["torque"].values[0] == 77
    assert len(document.pending) == 1
    files.keep_mine(document)
    files.save_document(document)
    assert files.open_document(saved).content["torque"].values[0] == 6
    saved.unlink()
    assert files.outside_state(document) == "gone"


def test_a_read_only_file_opens_read_only_and_saves_elsewhere(saved: Path) -> None:
    saved.chmod(0o444)
    document = files.open_document(saved)
    assert document.read_only
    with pytest.raises(EditRefused):
        document.do(set_to(document, 6))
    with pytest.raises(FileProblem, match="read-only"):
        files.save_document(document)
    copy = saved.with_name("copy.h5")
    files.save_document(document, copy)
    assert not document.read_only
    document.do(set_to(document, 6))
    files.save_document(document)
    assert files.open_document(copy).content["torque"].values[0] == 6


def test_a_set_without_a_file_says_that_it_needs_a_name() -> None:
    with pytest.raises(FileProblem, match="no file yet"):
        files.save_document(Document(a_set()))


def test_a_journal_holds_what_is_edited_during_a_save(saved: Path) -> None:
    from calib_model.session.recovery import recover
    from calib_model.store import list_leftovers

    document = files.open_document(saved)
    start_journal(document)
    document.do(set_to(document, 6))
    document.give_reason("why")
    save = files.begin_save(document)
    document.do(set_to(document, 7))
    saved_now = save.run()
    document.do(set_to(document, 8))
    files.finish_save(document, save, saved_now)
    # As if the process ended here: the lock goes with it, the folder stays.
    document.journal._release()  # type: ignore[union-attr]
    (left,) = list_leftovers()
    assert left.path == saved
    assert left.edits == 2
    found = recover(left)
    assert found.content["torque"].values[0] == 8
    assert found.saved_content["torque"].values[0] == 6
    assert [c.title for c in found.pending] == ["Set torque to 7", "Set torque to 8"]
    found.undo()
    assert found.content["torque"].values[0] == 7
    files.save_document(found)
    assert [e.reason for e in entries_of(files.open_document(saved))] == ["first", "why", ""]
    end_journal(found)
    assert list_leftovers() == []


def test_what_was_taken_back_before_a_crash_is_not_offered_for_undo(saved: Path) -> None:
    from calib_model.session.recovery import recover
    from calib_model.store import list_leftovers

    document = files.open_document(saved)
    start_journal(document)
    document.do(set_to(document, 6))
    document.do(set_to(document, 7))
    document.undo()
    document.do(set_to(document, 8))
    document.undo()
    document.redo()
    document.journal._release()  # type: ignore[union-attr]
    found = recover(list_leftovers()[0])
    assert found.content == document.content
    assert [c.title for c in found.pending] == ["Set torque to 6", "Set torque to 8"]
    assert found.undo_title == "Set torque to 8"
    end_journal(found)
