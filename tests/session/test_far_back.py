"""An earlier state far back: found without an index of all tables for each entry between."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import (
    AboutEdit,
    CellsEdit,
    Change,
    Edit,
    TableEdit,
    apply,
    change_to_plain,
)
from calib_model.errors import EditRefused
from calib_model.session import history
from calib_model.session.history import Entry, content_after
from tests.generated import generated_set


def edited(count: int) -> tuple[CalibrationSet, CalibrationSet, list[Entry]]:
    """A set before and after so many edits of all kinds, and the entries for them."""
    before = now = generated_set(60)
    random = np.random.default_rng(2)
    ids = list(before.tables)
    entries = []
    for number in range(count):
        table = now[ids[int(random.integers(len(ids)))]]
        cell = np.array([int(random.integers(table.values.size))])
        value = table.values.reshape(-1)[cell]
        edits: list[Edit] = [CellsEdit(table.id, cell, value, value + 1.0)]
        if number % 7 == 3:
            other = now[ids[(number + 1) % len(ids)]]
            if other.id != table.id:
                edits.append(
                    CellsEdit(other.id, np.array([0]), other.values.reshape(-1)[:1], np.zeros(1))
                )
        if number % 50 == 20:
            edits = [TableEdit(table, replace(table, name=f"Name {number}"))]
        if number % 80 == 30:
            edits = [AboutEdit("revision", now.revision, str(number))]
        change = Change(f"Edit {number}", tuple(edits))
        now = apply(now, change)
        entries.append(Entry(change_to_plain(change), True))
    return before, now, entries


@pytest.mark.parametrize("stretch", [1, 7, 1000])
def test_the_way_back_is_the_same_in_any_stretches(
    monkeypatch: pytest.MonkeyPatch, stretch: int
) -> None:
    before, now, entries = edited(200)
    monkeypatch.setattr(history, "_STRETCH", stretch)
    assert content_after(now, entries) == before
    later = content_after(now, entries[120:])
    forth = before
    for entry in entries[:120]:
        forth = apply(forth, entry.change())
    assert later == forth
    assert list(later.tables) == list(before.tables)


def test_edits_of_cells_copy_no_whole_index(monkeypatch: pytest.MonkeyPatch) -> None:
    before, now, entries = edited(19)
    sizes: list[int] = []
    real = CalibrationSet.replaced

    def counted(self, *given, **about):  # type: ignore[no-untyped-def]
        sizes.append(len(self))
        return real(self, *given, **about)

    monkeypatch.setattr(CalibrationSet, "replaced", counted)
    assert content_after(now, entries) == before
    assert sizes.count(len(before)) == 1


def test_what_was_changed_unrecorded_is_told_at_its_entry() -> None:
    before = generated_set(20)
    table = next(iter(before))
    values = [table.values.reshape(-1)[:1] + step for step in range(5)]
    cell = np.array([0])
    changes = [
        Change(f"Edit {n}", (CellsEdit(table.id, cell, a, b),))
        for n, (a, b) in enumerate(pairwise(values))
    ]
    now = before
    for change in changes:
        now = apply(now, change)
    entries = [Entry(change_to_plain(change), True) for change in changes]
    assert content_after(now, entries) == before
    del entries[2]
    with pytest.raises(EditRefused, match="cannot be followed back past “Edit 1”"):
        content_after(now, entries)
