"""Changes: applied whole or not at all, and taken back exactly."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.editing.change import (
    Change,
    add_table,
    apply,
    change_from_plain,
    change_to_plain,
    describe,
    remove_table,
    table_change,
    values_change,
)
from calib_model.editing.difference import change_between
from calib_model.editing.lock_changes import set_locks
from calib_model.errors import EditRefused

CURVE = Table("curve", [1.0, 2.0, 3.0], (Axis([0, 1, 5]),))
MAP = Table("map", np.arange(6.0).reshape(2, 3), (Axis([0, 1]), Axis([0, 10, 30])))
SCALAR = Table("scalar", 7.0)
CONTENT = CalibrationSet([CURVE, MAP, SCALAR], programme="Larch", mode="normal")


@st.composite
def changes(draw: st.DrawFn, content: CalibrationSet) -> Change:
    kind = draw(st.sampled_from(["cells", "table", "add", "remove", "about"]))
    table = draw(st.sampled_from(list(content)))
    if kind == "cells":
        number = st.floats(-100, 100) | st.just(np.nan)
        values = [draw(number) for _ in range(table.values.size)]
        return values_change(table, np.reshape(values, table.shape), "Set")
    if kind == "table":
        text = draw(st.text(max_size=5))
        return table_change(table, table.__class__(table.id, table.values, table.axes, text), "N")
    if kind == "add":
        id = f"new{len(content)}_{draw(st.integers(0, 9))}"
        return add_table(content, Table(id, 1.0), draw(st.integers(0, len(content))))
    if kind == "remove" and len(content) > 1:
        return remove_table(content, table.id)
    return describe(content, revision=draw(st.text(max_size=4)))


@given(st.data())
def test_undo_of_any_chain_gives_the_same_set(data: st.DataObject) -> None:
    content, done = CONTENT, []
    for _ in range(data.draw(st.integers(1, 6))):
        change = data.draw(changes(content))
        if change.is_empty or (change.title.startswith("Add") and change.tables[0] in content):
            continue
        done.append(change)
        content = apply(content, change)
    # The plain form does the same as the change itself, through real JSON text.
    replayed = CONTENT
    for change in done:
        plain = json.loads(json.dumps(change_to_plain(change), allow_nan=False))
        replayed = apply(replayed, change_from_plain(plain))
    assert replayed == content
    # One change between the two ends leads there as well.
    assert apply(CONTENT, change_between(CONTENT, content, "All")) == content
    for change in reversed(done):
        content = apply(content, change.inverse())
    assert content == CONTENT


def test_only_cells_that_differ_are_recorded() -> None:
    change = values_change(CURVE, np.array([1.0, 2.5, 3.0]), "Set")
    (edit,) = change.edits
    assert edit.cells.tolist() == [1]
    assert edit.before.tolist() == [2.0]
    assert edit.after.tolist() == [2.5]
    assert values_change(CURVE, CURVE.values, "Set").is_empty


def test_a_change_for_other_values_is_refused_and_nothing_happens() -> None:
    change = values_change(CURVE, np.array([1.0, 2.5, 3.0]), "Set")
    once = apply(CONTENT, change)
    with pytest.raises(EditRefused, match="no longer holds"):
        apply(once, change)


def test_a_group_is_atomic() -> None:
    good = values_change(CURVE, np.array([9.0, 2.0, 3.0]), "Set")
    stale = values_change(MAP.with_values(np.ones((2, 3))), np.zeros((2, 3)), "Set")
    before = CONTENT
    with pytest.raises(EditRefused):
        apply(before, Change("Both", good.edits + stale.edits))
    assert before["curve"].values[0] == 1.0


def test_removed_table_returns_to_its_place() -> None:
    change = remove_table(CONTENT, "map")
    gone = apply(CONTENT, change)
    assert list(gone.tables) == ["curve", "scalar"]
    assert list(apply(gone, change.inverse()).tables) == ["curve", "map", "scalar"]


def test_locked_cells_stay_and_the_note_says_so() -> None:
    mask = np.array([True, False, False])
    content = apply(CONTENT, set_locks(CURVE, mask, True))
    table = content["curve"]
    change = values_change(table, np.array([8.0, 9.0, 3.0]), "Set")
    assert apply(content, change)["curve"].values.tolist() == [1.0, 9.0, 3.0]
    assert "1 locked cell was left" in change.note
    with pytest.raises(EditRefused, match="locked"):
        values_change(table, np.array([8.0, 2.0, 3.0]), "Set")
    free = apply(content, set_locks(table, mask, False))["curve"]
    assert free == CURVE


def test_an_empty_cell_cannot_be_locked() -> None:
    table = CURVE.with_values([np.nan, 2, 3])
    with pytest.raises(EditRefused, match="empty"):
        set_locks(table, np.array([True, False, False]), True)


def test_a_recorded_change_of_cells_that_are_not_there_is_refused() -> None:
    for cells in ([0, 1_000, 1], [-1, 0, 1]):  # as damaged, or unsorted, in a journal
        plain = {
            **dict.fromkeys(("title", "reason", "author", "time"), ""),
            "edits": [
                {
                    "kind": "cells",
                    "table": "curve",
                    "cells": cells,
                    "before": [1.0, 2.0, 3.0],
                    "after": [0.0, 0.0, 0.0],
                }
            ],
        }
        with pytest.raises(EditRefused, match="no cell number"):
            apply(CONTENT, change_from_plain(plain))
