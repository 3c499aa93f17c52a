"""Edits of the record: undone, journalled and recovered like any other; signing is not undone."""

from __future__ import annotations

from pathlib import Path

import pytest

from calib_model.core.record import EMPTY_RECORD, Remark, SignOff, Waiver
from calib_model.editing.change import (
    Change,
    RecordEdit,
    apply,
    change_from_plain,
    change_to_plain,
    record_change,
    values_change,
)
from calib_model.editing.difference import change_between
from calib_model.errors import EditRefused, ModelError
from calib_model.session.document import Document, Event
from calib_model.session.files import open_document, save_document
from calib_model.session.history import describe_change, entries_of, restore_change
from calib_model.session.recovery import end_journal, recover, start_journal
from calib_model.session.since import at_sign_off, before_changes
from calib_model.store import list_leftovers
from tests.signoff.making import small_set

REMARK = Remark(text="Look at 20 km/h", author="Ines", table="base", places=((20.0,),))
WAIVER = Waiver(table="base", reason="meant")
SIGN_OFF = SignOff(statement="{}", signature="x")


def _edit(document: Document, value: float) -> None:
    table = document.content["brake"]
    document.do(values_change(table, [0.0, 1.0, value], f"Set {value}"))


def test_a_remark_is_an_undoable_edit_and_an_event() -> None:
    document = Document(small_set())
    events: list[Event] = []
    document.subscribe(events.append)
    document.do(record_change(None, REMARK, "Remark on base"))
    document.do(record_change(REMARK, Remark(id=REMARK.id, text="Better"), "Change remark"))
    document.do(record_change(None, WAIVER, "Waive"))
    assert [e.record_changed for e in events] == [True] * 3
    assert not any(e.tables_changed for e in events)
    # A waiver's table is named without a cell: its findings are to be looked at again.
    assert [e.tables for e in events] == [(), (), ("base",)]
    assert events[2].cells["base"] is not None
    assert events[2].cells["base"].size == 0
    document.undo()
    document.undo()
    assert document.content.record.remarks == (REMARK,)
    document.undo()
    assert document.content.record == EMPTY_RECORD
    assert document.redo_title == "Remark on base"
    document.redo()
    assert document.content.record.remarks == (REMARK,)
    assert document.is_modified


def test_a_waiver_and_cells_in_one_change_name_the_cells() -> None:
    document = Document(small_set())
    cells = values_change(document.content["base"], [1.0, 2.0, 4.0], "Set").edits
    event = document.do(Change("Both", (RecordEdit(None, WAIVER), *cells)))
    assert event is not None
    assert event.cells["base"] is not None
    assert event.cells["base"].tolist() == [2]


def test_an_edit_that_does_not_fit_the_record_is_refused_whole() -> None:
    document = Document(small_set())
    gone = record_change(REMARK, None, "Remove")
    cells = values_change(document.content["base"], [1.0, 2.0, 4.0], "Set").edits
    with pytest.raises(EditRefused, match="any more"):
        document.do(Change("Both", (*cells, *gone.edits)))
    assert document.content == small_set()


def test_plain_form_comes_back() -> None:
    for edit in (RecordEdit(None, REMARK), RecordEdit(WAIVER, None), RecordEdit(None, SIGN_OFF)):
        change = Change("x", (edit,), "why", "Ada", "2026-01-10T08:00:00Z")
        assert change_from_plain(change_to_plain(change)) == change
    for damaged in (
        {"kind": "record", "item": "remark", "before": None, "after": None},
        {"kind": "record", "item": "remark", "before": None, "after": {"id": 1}},
        {"kind": "record", "item": "wish", "before": None, "after": {"id": "1"}},
        {"kind": "record"},
    ):
        plain = {"title": "", "reason": "", "author": "", "time": "", "edits": [damaged]}
        with pytest.raises(ModelError):
            change_from_plain(plain)


def test_signing_is_not_undone_but_edits_around_it_are() -> None:
    document = Document(small_set())
    _edit(document, 3.0)
    with pytest.raises(EditRefused, match="not an edit"):
        document.do(record_change(None, SIGN_OFF, "Sneak in"))
    document.sign(SIGN_OFF)
    assert document.undo_title == "Set 3.0"
    _edit(document, 4.0)
    document.undo()
    document.undo()
    assert document.content.tables == small_set().tables
    assert document.content.record.sign_offs == (SIGN_OFF,)
    assert document.undo() is None
    document.redo()
    assert document.content["brake"].values[2] == 3.0
    titles = [c.title for c in document.pending]
    assert titles.count("Sign off") == 1


def test_the_record_is_saved_journalled_and_recovered(tmp_path: Path) -> None:
    path = tmp_path / "x.h5"
    save_document(Document(small_set()), path)
    document = open_document(path, "Ada")
    start_journal(document)
    document.do(record_change(None, REMARK, "Remark"))
    document.sign(SIGN_OFF)
    _edit(document, 5.0)
    document.journal._release()  # type: ignore[union-attr]  # as if the process ended here
    (leftover,) = list_leftovers()
    again = recover(leftover, "Ada")
    assert again.content == document.content
    assert again.undo_title == "Set 5.0"
    again.undo()
    again.undo()
    assert again.content.record.sign_offs == (SIGN_OFF,)
    assert again.content.record.remarks == ()
    save_document(again)
    assert open_document(path).content == again.content
    end_journal(again)


def test_restoring_an_earlier_state_leaves_what_was_said_since() -> None:
    document = Document(small_set())
    _edit(document, 3.0)
    document.do(record_change(None, REMARK, "Remark"))
    change = restore_change(document, entries_of(document), -1)
    document.do(change)
    assert document.content.tables == small_set().tables
    assert document.content.record.remarks == (REMARK,)
    wanted = small_set().with_record(EMPTY_RECORD.exchanged(None, WAIVER))
    both = change_between(document.content, wanted, "All", record=True)
    assert apply(document.content, both) == wanted


def test_history_says_it_in_words() -> None:
    change = record_change(None, REMARK, "Remark")
    assert describe_change(change) == ["Remark on base added: Look at 20 km/h"]
    assert describe_change(change.inverse())[0].startswith("Remark on base removed")


def test_the_state_at_a_sign_off_is_found_again() -> None:
    document = Document(small_set())
    assert before_changes(document.content, []) == (None, "")
    _edit(document, 3.0)
    then = document.content
    document.sign(SIGN_OFF)
    _edit(document, 4.0)
    document.do(record_change(None, REMARK, "Remark"))
    entries = entries_of(document)
    found = at_sign_off(document.content, entries, SIGN_OFF.id)
    assert found is not None
    assert found.tables == then.tables
    assert at_sign_off(document.content, entries, "another") is None
    state, words = before_changes(document.content, entries)
    assert (state, words) == (found, "the last sign-off")
    document.undo()
    document.undo()
    state, words = before_changes(document.content, entries_of(document), released=True)
    assert state is not None
    assert (state.tables, words) == (small_set().tables, "the beginning of its history")
