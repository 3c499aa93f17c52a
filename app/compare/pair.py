"""The table that is compared: one cursor and one selection for all its grids and plots."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.desk import Desk
from app.grid.plane import Cell
from app.grid.source import GridSource
from calib_model.compare import Aligned, NotComparable, TableComparison, Threshold, align
from calib_model.core.arrays import BoolArray
from calib_model.core.table import Table
from calib_model.editing.change import Change

NOT_HERE = "Compare changes nothing by typing. Take values over, or shape the table in Tune."


class PairDesk(Desk):
    """A desk of its own for the plots: its table is the edited set's on the common
    grid, its reference the reference's.

    Signals
    -------
    marks_changed
        Other cells breach the relation or lie beyond the threshold.
    """

    marks_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.pair: TableComparison | None = None
        self.aligned: Aligned | None = None
        self.threshold = Threshold()
        self.names = ("Reference", "Edited set")
        self.letters = ("reference", "edited")
        """The letters of reference and edited set in the window, for where room is short."""
        self.why_apart = ""
        """Why the two have no common grid, in words; empty if they have one."""
        self.breaches: dict[Cell, tuple[str, str]] = {}
        """Severity and sentence of each node that breaches the relation between the modes."""

    @property
    def first(self) -> Table | None:
        """The reference's table, on the common grid where there is one."""
        if self.aligned is not None:
            return self.aligned.first
        return self.pair.first if self.pair is not None else None

    @property
    def second(self) -> Table | None:
        """The edited set's table, on the common grid where there is one."""
        if self.aligned is not None:
            return self.aligned.second
        return self.pair.second if self.pair is not None else None

    @property
    def difference(self) -> Table | None:
        """Edited set less reference; None where the two cannot be laid over each other."""
        return self.aligned.difference if self.aligned is not None else None

    @property
    def less(self) -> str:
        """What the difference is called: ``A less B``."""
        return f"{self.letters[1]} less {self.letters[0]}"

    @property
    def table(self) -> Table | None:
        """The edited set's table; the reference's where it has none."""
        return self.second if self.second is not None else self.first

    @property
    def saved_table(self) -> Table | None:
        """Nothing: compare knows two states only."""
        return None

    @property
    def reference_table(self) -> Table | None:
        """The reference's table."""
        return self.first if self.aligned is not None else None

    @property
    def shape(self) -> Cell:
        """The shape that cursor and selection have."""
        return self.table.shape if self.table is not None else ()

    def show_pair(self, pair: TableComparison | None) -> None:
        """Compare another table, or the same one after an edit: the cursor stays then."""
        before, shape = self.pair, self.shape
        self.pair, self.aligned, self.why_apart = pair, None, ""
        self.breaches = {}
        if pair is not None and pair.first is not None and pair.second is not None:
            try:
                self.aligned = align(pair.first, pair.second)
            except NotComparable as problem:
                self.why_apart = str(problem)
        kept = before is not None and pair is not None and before.id == pair.id
        if not kept or self.shape != shape:
            self._cursor = (0,) * len(self.shape)
            self._selection = self._only_cursor()
        self.table_changed.emit()
        self.cursor_changed.emit()
        self.selection_changed.emit()

    def set_marks(self, breaches: dict[Cell, tuple[str, str]], threshold: Threshold) -> None:
        """Mark breaching nodes, and leave small differences unmarked."""
        self.breaches, self.threshold = breaches, threshold
        self.marks_changed.emit()

    def counted(self) -> BoolArray:
        """Return the nodes whose difference counts: beyond the threshold, not by rounding."""
        if self.aligned is None:
            return np.zeros(self.shape, dtype=bool)
        return self.aligned.beyond(self.threshold) & ~self.aligned.by_rounding

    def do(self, change: Change | Callable[[], Change]) -> bool:
        """Refuse: what is compared is changed by taking over alone."""
        self.tell(NOT_HERE, refused=True)
        return False

    def step_difference(self, by: int) -> bool:
        """Go to the next cell that differs (or, with -1, the one before); False at the end."""
        return self.step_among(np.flatnonzero(self.counted().reshape(-1)), by)

    def step_breach(self, by: int) -> bool:
        """Go to the next cell that breaches the relation; False at the end."""
        marks = np.zeros(self.shape, dtype=bool)
        for cell in self.breaches:
            marks[cell] = True
        return self.step_among(np.flatnonzero(marks.reshape(-1)), by)

    def step_among(self, places: np.ndarray, by: int) -> bool:
        """Go to the next of some flat cell numbers; False where there is none."""
        if self.table is None or not places.size:
            return False
        here = int(np.ravel_multi_index(self._cursor, self.shape)) if self.shape else 0
        further = places[places > here] if by > 0 else places[places < here]
        if not further.size:
            return False
        goal = int(further[0] if by > 0 else further[-1])
        self.set_cursor(tuple(int(i) for i in np.unravel_index(goal, self.shape)))
        return True

    def go_to_first(self, places: np.ndarray, by: int) -> None:
        """Go to the first (or, with -1, the last) of some flat cell numbers."""
        if places.size and self.shape:
            goal = int(places[0] if by > 0 else places[-1])
            self.set_cursor(tuple(int(i) for i in np.unravel_index(goal, self.shape)))


class DifferenceDesk(Desk):
    """The pair's desk with the difference as its table; cursor and selection are the pair's."""

    def __init__(self, pair: PairDesk, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.of = pair
        pair.table_changed.connect(self.table_changed)
        pair.cursor_changed.connect(self.cursor_changed)
        pair.selection_changed.connect(self.selection_changed)
        pair.told.connect(self.told)

    @property
    def table(self) -> Table | None:
        """Edited set less reference."""
        return self.of.difference

    @property
    def saved_table(self) -> Table | None:
        """Nothing."""
        return None

    @property
    def reference_table(self) -> Table | None:
        """Nothing."""
        return None

    @property
    def cursor(self) -> Cell:
        """The pair's cursor."""
        return self.of.cursor

    @property
    def selection(self) -> BoolArray:
        """The pair's selection."""
        return self.of.selection

    def set_cursor(self, cell: Cell, *, keep_selection: bool = False) -> None:
        """Move the pair's cursor."""
        self.of.set_cursor(cell, keep_selection=keep_selection)

    def set_selection(self, selection: BoolArray) -> None:
        """Set the pair's selection."""
        self.of.set_selection(selection)

    def do(self, change: Change | Callable[[], Change]) -> bool:
        """Refuse as the pair does."""
        return self.of.do(change)


class PairSource(GridSource):
    """One of the pair's three tables, as a grid sees it.

    Parameters
    ----------
    pair : PairDesk
    which : str
        ``first``, ``second`` or ``difference``.
    """

    def __init__(self, pair: PairDesk, which: str, parent: QObject | None = None) -> None:
        super().__init__(None, parent)
        self.pair, self.which = pair, which
        pair.table_changed.connect(self._on_table)
        pair.cursor_changed.connect(self._on_cursor)
        pair.selection_changed.connect(self._on_selection)
        pair.marks_changed.connect(self.saved_changed)
        self.told.connect(pair.told)
        self._on_table()

    @property
    def joined(self) -> bool:
        """Whether cursor and selection are the pair's: its grid is this table's."""
        if self.pair.aligned is not None:
            return True
        return self.pair.table is not None and self.pair.table is self._table

    @property
    def table(self) -> Table | None:
        """The table to show."""
        return self._table

    @property
    def read_only(self) -> str:
        """Why nothing can be edited here."""
        return NOT_HERE

    @property
    def cursor(self) -> Cell:
        """The pair's cursor, or one of its own where the two have no common grid."""
        return self.pair.cursor if self.joined else super().cursor

    @property
    def selection(self) -> BoolArray:
        """The pair's selection, or one of its own."""
        return self.pair.selection if self.joined else super().selection

    def set_cursor(self, cell: Cell, *, keep_selection: bool = False) -> None:
        """Move the cross-hair in all grids of the pair."""
        if self.joined:
            self.pair.set_cursor(cell, keep_selection=keep_selection)
        else:
            super().set_cursor(cell, keep_selection=keep_selection)

    def set_selection(self, selection: BoolArray) -> None:
        """Select in all grids of the pair."""
        if self.joined:
            self.pair.set_selection(selection)
        else:
            super().set_selection(selection)

    def tell(self, text: str, *, refused: bool = False) -> None:
        """Pass a message on."""
        self.told.emit(text, refused)

    def _on_table(self) -> None:
        table = getattr(self.pair, self.which)
        if table is not None and self._table is not None and table.shape == self._table.shape:
            self._table = table
            self.table_changed.emit()
        else:
            self.show_table(table)

    def _on_cursor(self) -> None:
        if self.joined:
            self.cursor_changed.emit()

    def _on_selection(self) -> None:
        if self.joined:
            self.selection_changed.emit()
