"""The document: undo, merging, pending history, events."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import (
    Change,
    apply,
    change_from_plain,
    describe,
    table_change,
    values_change,
)
from calib_model.editing.lock_changes import with_locks
from calib_model.errors import EditRefused
from calib_model.session.document import Document, Event
from calib_model.session.history import content_after, describe_change, entries_of

TABLE = Table("a", [1.0, 2.0, 3.0], (Axis([0, 1, 2]),), "A", "N.m")
CONTENT = CalibrationSet([TABLE, Table("b", 5.0)])


def put(document: Document, cell: int, value: float, **about: Any) -> Change:
    table = document.content["a"]
    values = table.values.copy()
    values[cell] = value
    return values_change(table, values, f"Set {value:g}", **about)


def test_undo_and_redo_are_named_and_exact() -> None:
    document = Document(CONTENT)
    document.do(put(document, 0, 9))
    document.do(put(document, 1, 8))
    assert (document.undo_title, document.redo_title) == ("Set 8", "")
    document.undo()
    assert (document.undo_title, document.redo_title) == ("Set 9", "Set 8")
    document.undo()
    assert document.content == CONTENT
    assert not document.is_modified
    assert document.undo() is None
    document.redo()
    document.redo()
    assert document.content["a"].values.tolist() == [9, 8, 3]
    document.undo()
    document.do(put(document, 2, 7))
    assert document.redo() is None


def test_a_drag_is_one_step() -> None:
    document = Document(CONTENT)
    for value in (1.5, 2.5, 4.0):
        document.do(put(document, 0, value, merge="drag"))
    document.break_merge()
    document.do(put(document, 0, 6.0, merge="drag"))
    document.undo()
    assert document.content["a"].values[0] == 4.0
    document.undo()
    assert document.content == CONTENT
    assert document.undo_title == ""


def test_a_drag_goes_on_neither_after_an_undo_nor_after_a_redo() -> None:
    document = Document(CONTENT)
    document.do(put(document, 0, 2.0, merge="drag"))
    document.do(put(document, 1, 9.0))
    document.undo()
    document.do(put(document, 0, 3.0, merge="drag"))
    document.undo()  # this step alone: what was taken back before stands between
    assert document.content["a"].values.tolist() == [2.0, 2.0, 3.0]
    document.undo()
    assert document.content == CONTENT
    other = Document(CONTENT)
    other.do(put(other, 0, 2.0, merge="drag"))
    other.undo()
    other.redo()
    other.do(put(other, 0, 4.0, merge="drag"))
    other.undo()
    assert other.content["a"].values[0] == 2.0


def test_a_drag_does_not_reach_back_over_a_save() -> None:
    document = Document(CONTENT)
    document.do(put(document, 0, 2.0, merge="drag"))
    document.mark_saved(document.content)
    document.do(put(document, 0, 3.0, merge="drag"))
    document.undo()
    assert document.content["a"].values[0] == 2.0
    assert not document.is_modified


def test_a_drag_that_returns_leaves_the_values() -> None:
    document = Document(CONTENT)
    document.do(put(document, 0, 2.0, merge="drag"))
    document.do(put(document, 0, 1.0, merge="drag"))
    assert document.content == CONTENT
    assert not document.is_modified


def test_saved_mark_and_pending_history() -> None:
    document = Document(CONTENT, author="calibrator A")
    document.do(put(document, 0, 9))
    document.do(put(document, 1, 8))
    assert [c.title for c in document.pending] == ["Set 9", "Set 8"]
    assert all(c.author == "calibrator A" and c.time.endswith("Z") for c in document.pending)
    document.mark_saved(document.content)
    assert not document.is_modified
    assert document.pending == ()
    document.undo()
    assert document.is_modified
    assert [c.title for c in document.pending] == ["Undo Set 8"]
    document.redo()
    assert document.pending == ()
    assert not document.is_modified


def test_journal_replays_to_the_same_set_through_undo_and_redo() -> None:
    class Memory:
        def __init__(self) -> None:
            self.records: list[Mapping[str, Any]] = []

        def append(self, record: Mapping[str, Any]) -> None:
            self.records.append(record)

    document = Document(CONTENT)
    journal = Memory()
    document.journal = journal  # type: ignore[assignment]
    document.do(put(document, 0, 9))
    document.do(put(document, 0, np.nan))
    document.undo()
    document.do(put(document, 2, 4))
    document.undo()
    document.redo()
    replayed = CONTENT
    for record in journal.records:
        replayed = apply(replayed, change_from_plain(record))
    assert replayed == document.content


def test_events_name_what_was_touched() -> None:
    document = Document(CONTENT)
    events: list[Event] = []
    stop = document.subscribe(events.append)
    document.do(put(document, 1, 8))
    document.do(describe(document.content, revision="2"))
    stop()
    document.do(put(document, 1, 7))
    assert len(events) == 2
    assert list(events[0].cells) == ["a"]
    assert events[0].cells["a"].tolist() == [1]
    assert events[1].tables == ()
    assert events[1].tables_changed


def test_read_only_refuses_and_a_refused_edit_changes_nothing() -> None:
    document = Document(CONTENT, read_only=True)
    with pytest.raises(EditRefused, match="read-only"):
        document.do(put(document, 0, 9))
    document = Document(CONTENT)
    stale = put(document, 0, 9)
    document.do(put(document, 0, 5))
    with pytest.raises(EditRefused):
        document.do(stale)
    assert document.content["a"].values[0] == 5
    assert document.undo_title == "Set 5"


def test_history_tells_values_of_a_table_exchanged_whole() -> None:
    mask = np.array([False, False, True])
    locked = with_locks(TABLE.with_values([1.0, 2.0, 0.0]), mask)
    lines = describe_change(table_change(TABLE, locked, "Set and lock"), CONTENT)
    assert lines == ["A: rules or locks changed", "A at axis 2: 3 → 0 N·m"]


class RecordingJournal:
    """Keeps the plain changes, as a journal on disk would."""

    def __init__(self) -> None:
        self.changes: list[Change] = []

    def append(self, record: Mapping[str, Any]) -> None:
        if set(record) != {"reason"}:
            self.changes.append(change_from_plain(record))

    def save_point(self) -> Any:
        raise NotImplementedError


_STEPS = st.sampled_from(
    ["drag 1", "drag 6", "drag 7", "edit", "undo", "redo", "save", "begin", "fail", "reason", "end"]
)


@settings(max_examples=300)
@given(st.lists(_STEPS, max_size=30))
# Two changes of one title; and a drag that would have run on into one that the file holds.
@example(["drag 6", "save", "undo", "drag 7", "undo", "redo"])
@example(["drag 6", "edit", "save", "undo", "drag 1", "drag 6", "drag 7"])
def test_history_and_journal_lead_to_the_present_state_whatever_is_done(steps: list[str]) -> None:
    document = Document(CONTENT)
    document.journal = journal = RecordingJournal()
    for step in steps:
        match step.split():
            case ["drag", value]:
                change = put(document, 0, float(value), merge="drag")
                document.do(replace(change, title="Drag"))
            case ["edit"]:
                document.do(put(document, 1, float(document.content["a"].values[1]) + 1))
            case ["undo"]:
                document.undo()
            case ["redo"]:
                document.redo()
            case ["save"]:
                document.mark_saved(document.begin_save().content)
            case ["begin"]:
                document.begin_save()
            case ["fail"]:
                document.save_failed()
            case ["reason"]:
                document.give_reason("why")
            case ["end"]:
                document.break_merge()
        assert content_after(document.content, entries_of(document)) == CONTENT
    replayed = CONTENT
    for change in journal.changes:
        replayed = apply(replayed, change)
    assert replayed == document.content
    while document.undo():
        pass
    assert document.content == CONTENT
