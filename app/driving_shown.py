"""What is shown of driving over the tables: marks of the cells, and the operating point."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QObject, Signal

from app.cell_marks import CellMarks, CellUse, driven
from calib_model.core.arrays import FloatArray
from calib_model.core.table import Table


class DrivingShown(QObject):
    """The driving of one desk.

    Parameters
    ----------
    table : callable
        Returns the table in work, or None.

    Signals
    -------
    cell_marks_changed
        Other marks are to be drawn over the cells, or none.
    play_head_changed
        The operating point of the moment that is looked at moved.
    """

    cell_marks_changed = Signal()
    play_head_changed = Signal()

    def __init__(self, table: Callable[[], Table | None], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._table = table
        self._coverage: Mapping[str, CellUse] = {}
        self._driven: dict[str, CellMarks] = {}
        self._cell_marks: Mapping[str, CellMarks] = {}
        self._shows_driving = True
        self._play_head: Mapping[str, float] = {}
        self._trail: Mapping[str, FloatArray] = {}

    @property
    def has_coverage(self) -> bool:
        """Whether driving is shown over the tables."""
        return bool(self._coverage)

    def coverage_of(self, table_id: str) -> CellUse | None:
        """Return how a table's cells were used by the driving that is shown, if it read them."""
        return self._coverage.get(table_id)

    def set_coverage(self, coverage: Mapping[str, CellUse] | None) -> None:
        """Show driving over the tables, by table id; None takes it away."""
        if coverage or self._coverage:
            self._coverage = dict(coverage or {})
            self._driven = {}
            self.cell_marks_changed.emit()

    @property
    def shows_driving(self) -> bool:
        """Whether cells are marked by how they were driven, where driving is known."""
        return self._shows_driving

    def show_driving(self, on: bool) -> None:
        """Mark cells by how they were driven, or not."""
        if on != self._shows_driving:
            self._shows_driving = on
            self.cell_marks_changed.emit()

    def set_cell_marks(self, marks: Mapping[str, CellMarks] | None) -> None:
        """Mark cells by something else than driving, by table id; None goes back to driving."""
        if marks or self._cell_marks:
            self._cell_marks = dict(marks or {})
            self.cell_marks_changed.emit()

    @property
    def cell_marks(self) -> CellMarks | None:
        """What is to be marked over the cells of the table in work, if it goes with its shape."""
        table = self._table()
        if table is None:
            return None
        marks = self._cell_marks.get(table.id)
        if marks is None and self._shows_driving and not self._cell_marks:
            marks = self._driving_marks(table.id)
        return marks if marks is not None and marks.amounts.shape == table.shape else None

    def _driving_marks(self, table_id: str) -> CellMarks | None:
        use = self.coverage_of(table_id)
        if use is not None and table_id not in self._driven:
            self._driven[table_id] = driven(use)
        return self._driven.get(table_id)

    @property
    def play_head(self) -> Mapping[str, float]:
        """The input quantities at the moment that is looked at; empty for none."""
        return self._play_head

    @property
    def trail(self) -> Mapping[str, FloatArray]:
        """The input quantities over the seconds before it, oldest first; NaN where unknown."""
        return self._trail

    def set_play_head(
        self,
        at: Mapping[str, float] | None,
        trail: Mapping[str, FloatArray] | None = None,
    ) -> None:
        """Move the operating point, by input quantity; None takes it away."""
        if at or self._play_head:
            self._play_head = dict(at or {})
            self._trail = dict(trail or {})
            self.play_head_changed.emit()
