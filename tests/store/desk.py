"""A document in small, for the tests of the journal."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import (
    Change,
    apply,
    change_from_plain,
    change_to_plain,
    values_change,
)
from calib_model.store import (
    HistoryColumns,
    Journal,
    Relation,
    StoredSet,
    list_leftovers,
    write_set,
)
from tests.store.crashing import read_at_once
from tests.store.making import entries, small_set


def edit(content: CalibrationSet, value: float) -> tuple[CalibrationSet, Change]:
    """Another value for the tick, as a change."""
    change = values_change(content["tick"], np.asarray(value), f"Set to {value}")
    return apply(content, change), change


class Desk:
    """A document in small: content, file and journal."""

    def __init__(self, path: Path) -> None:
        self.path = path
        write_set(path, small_set(), HistoryColumns().with_entries(entries(1)))
        self.stored: StoredSet = read_at_once(path)
        self.stamp = self.stored.file_stamp
        self.content = self.stored.set
        self.journal = Journal.start(path, self.stamp, self.content, self.stored.history)

    def edit(self, value: float) -> None:
        self.content, change = edit(self.content, value)
        self.journal.append(change_to_plain(change))

    def save(self) -> None:
        point = self.journal.save_point()
        saved = write_set(
            self.path, self.content, self.stored.history,
            expected_stamp=self.stamp, journal=point,
        )  # fmt: skip
        self.stamp = saved.file_stamp
        point.saved(self.path, saved, self.content)

    def crash(self) -> None:
        """Let go of everything the end of a process lets go of."""
        self.journal._release()


def recovered(path: Path | None) -> tuple[CalibrationSet, Relation]:
    """The set after recovery of the one leftover."""
    (leftover,) = list_leftovers(path)
    base, changes, relation = leftover.load()
    leftover.release()
    content = base.set
    for change in changes:
        content = apply(content, change_from_plain(change))
    return content, relation
