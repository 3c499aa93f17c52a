"""The grid's Qt model: one plane of a table."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QAbstractTableModel, QModelIndex, QObject, QPersistentModelIndex, Qt
from PySide6.QtGui import QBrush, QGuiApplication

from app.plain import plain_tip
from app.scale import is_signed
from calib_model.core.arrays import FloatArray, IntArray
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.editing.locks import locked_cells
from calib_model.editing.notes import limits_text
from calib_model.errors import BitepointError

from . import edits
from .heat import Heat, levels, steps_of
from .marks import Findings, Look, beyond_limits, changed_cells, off_raster_cells, worst
from .plane import Plane
from .source import GridSource
from .texts import caption, cell_text, decimals, full_place_text

Index = QModelIndex | QPersistentModelIndex
_NOWHERE = QModelIndex()
_LOOKED_AT = (
    Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemNeverHasChildren
)
_EDITED = _LOOKED_AT | Qt.ItemFlag.ItemIsEditable
_CENTRE_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


class GridModel(QAbstractTableModel):
    """Cells of the source's table: text, colours, marks and exact editing.

    Rows and columns are those of `plane`; on a table with three or four axes the plane is the
    one that holds the source's cursor.

    Parameters
    ----------
    source : GridSource
    """

    changed_words = "changed since saved", "Changed since the set was saved."
    """What the mark of a changed cell means: in a list of states, and as a sentence."""

    def __init__(self, source: GridSource, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.source = source
        self.plane = Plane(())
        self._table: Table | None = None
        self._findings_of = ""
        self._findings: Findings = {}
        self._in_cells = False
        self._signed = False
        palette = QGuiApplication.palette()
        self._heat, self._signed_heat = Heat.of(palette), Heat.of(palette, signed=True)
        source.table_changed.connect(self._on_table)
        source.values_changed.connect(self._on_values)
        source.proposal_changed.connect(self._on_proposal)
        source.saved_changed.connect(self._on_saved)
        source.cursor_changed.connect(self._on_cursor)
        source.cell_marks_changed.connect(self._on_cell_marks)
        self._read()

    # -- what is shown -------------------------------------------------------------------------

    @property
    def table(self) -> Table | None:
        """The table as it is shown."""
        return self._table

    def set_findings(self, table_id: str, findings: Findings) -> None:
        """Mark cells that have findings.

        Parameters
        ----------
        table_id : str
            The table they belong to; they are shown while that table is.
        findings : mapping of cell to sequence of (severity, sentence)
            Severity is ``error``, ``warning`` or ``note``.
        """
        self._findings_of, self._findings = table_id, findings
        self._all_changed()

    def use_palette(self) -> None:
        """Take colours and decimals from what the user chose again."""
        palette = QGuiApplication.palette()
        self._heat, self._signed_heat = Heat.of(palette), Heat.of(palette, signed=True)
        if self._table is not None:
            self._decimals = decimals(self._table.storage)
        self._all_changed()

    @property
    def heat(self) -> Heat:
        """Colours of the cells."""
        return self._signed_heat if self._signed else self._heat

    def show_proposal(self, on: bool) -> None:
        """Write proposed numbers into the cells, or the present ones and mark which would change.

        Only who asks for it reads other numbers than the table holds.
        """
        if on != self._in_cells:
            self._in_cells = on
            self._all_changed()

    def text(self, row: int, column: int) -> str:
        """Return what is written in a cell; a value between storage steps has a sign before it."""
        instead = self._proposed if self._in_cells else None
        shown = self._values if instead is None else instead
        text = self._written(float(shown[row, column]))
        if instead is not None:
            if self._remark(row, column).startswith("no data"):
                return f"({text})"  # never to be taken for measured
            if self._differs[row, column]:
                return text  # what storage would hold already
        return f"≈ {text}" if self._off_raster[row, column] else text

    def _written(self, value: float) -> str:
        named = self._table.labels.name(value) if self._table is not None else ""
        return named or cell_text(value, self._decimals)

    def look(self, row: int, column: int) -> Look:
        """Return how a cell is drawn."""
        cell = self.plane.cell(row, column)
        alone = self._cell_marks is None  # driving is a mode of its own, with few other marks
        return Look(
            self.text(row, column),
            int(self._steps[row, column]),
            worst(self._findings_at(cell)),
            bool(self._locked[row, column]),
            bool(self._off_raster[row, column]),
            alone and bool(self._changed[row, column]),
            bool(self._beyond[row, column]),
            self._in_cells and self._would_change(row, column),
            not self._in_cells and self._would_change(row, column),
            int(self._levels_of_marks[row, column]),
            bool(self._full[row, column]),
            bool(self._past_end[row, column]),
            self._is_off_scale(row, column),
        )

    def _is_off_scale(self, row: int, column: int) -> bool:
        span, value = self._levels, float(self._values[row, column])
        return span is not None and (value < span[0] or value > span[1])

    def _would_change(self, row: int, column: int) -> bool:
        return self._proposed is not None and bool(self._differs[row, column])

    def _proposed_words(self, table: Table, row: int, column: int) -> list[str]:
        """Return what is proposed for a cell, in a list that is empty if nothing is."""
        if self._proposed is None or not self._differs[row, column]:
            return []
        return [f"proposed: {table.said(float(self._proposed[row, column]), 17)}"]

    def _findings_at(self, cell: tuple[int, ...]) -> Any:
        if self._table is None or self._findings_of != self._table.id:
            return ()
        return self._findings.get(cell, ())

    # -- Qt's questions ------------------------------------------------------------------------

    def rowCount(self, parent: Index = _NOWHERE) -> int:
        """Return the number of rows."""
        return 0 if parent.isValid() or self._table is None else self.plane.rows

    def columnCount(self, parent: Index = _NOWHERE) -> int:
        """Return the number of columns."""
        return 0 if parent.isValid() or self._table is None else self.plane.columns

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Return what can be done with a cell."""
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        return _LOOKED_AT if self.source.read_only else _EDITED

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return what a cell shows, or its exact text for editing."""
        table = self._table
        if table is None or not index.isValid():
            return None
        row, column = index.row(), index.column()
        if not (row < self._values.shape[0] and column < self._values.shape[1]):
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return self._written(float(self._values[row, column]))
        if role == Qt.ItemDataRole.EditRole:
            value = float(self._values[row, column])
            return table.said_exactly(value) if np.isfinite(value) else ""
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _CENTRE_RIGHT
        if role in (Qt.ItemDataRole.BackgroundRole, Qt.ItemDataRole.ForegroundRole):
            step = int(self._steps[row, column])
            if step < 0:
                return None
            background = role == Qt.ItemDataRole.BackgroundRole
            return QBrush((self.heat.backgrounds if background else self.heat.texts)[step])
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self._spoken(table, row, column)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(self._told(table, row, column))
        return None

    def setData(self, index: Index, value: Any, role: int = Qt.ItemDataRole.EditRole) -> bool:
        """Set a cell from the text a user typed; a refusal is told, and False returned."""
        if self._table is None or not index.isValid() or role != Qt.ItemDataRole.EditRole:
            return False
        marks = np.zeros((self.plane.rows, self.plane.columns), dtype=bool)
        marks[index.row(), index.column()] = True
        return self.set_text(str(value), self.plane.spread(marks))

    def set_text(self, text: str, selection: Any) -> bool:
        """Give selected cells (in the table's shape) what a user typed: `editing.entry`.

        Returns False where the text is refused, which is told; True otherwise, also if the
        cells hold that number already.
        """
        table = self._table
        if table is None:
            return False
        if self.source.read_only:
            self.source.tell(self.source.read_only, refused=True)
            return False
        if not text.strip():
            self.source.tell(
                "Type a number. To leave the cell without a value, press Esc and then Delete.",
                refused=True,
            )
            return False
        try:
            change = edits.entered(table, selection, text)
        except BitepointError as error:
            self.source.tell(str(error), refused=True)
            return False
        return change.is_empty or self.source.do(change)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Return a breakpoint; beside a single row, the unit of its values."""
        number = self.axis_number(orientation)
        if self._table is None or number is None:
            if role != Qt.ItemDataRole.DisplayRole:
                return None
            across = orientation == Qt.Orientation.Horizontal
            return "" if across or self._table is None else shown(self._table.unit)
        axis = self._table.axes[number]
        if not 0 <= section < len(axis):
            return None
        value = float(axis.values[section])
        if role == Qt.ItemDataRole.DisplayRole:
            return axis.said_short(value)
        if role == Qt.ItemDataRole.EditRole:
            return axis.said_exactly(value)
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{axis.label} {axis.said(value)}"
        if role == Qt.ItemDataRole.ToolTipRole:
            shared = " This axis is shared with other tables." if axis.shared else ""
            said = f"{caption(axis)}: {axis.said_exactly(value)}."
            return plain_tip(f"{said} Double-click to move this breakpoint.{shared}")
        if role == Qt.ItemDataRole.TextAlignmentRole:
            across = orientation == Qt.Orientation.Horizontal
            return Qt.AlignmentFlag.AlignCenter if across else _CENTRE_RIGHT
        return None

    def axis_number(self, orientation: Qt.Orientation) -> int | None:
        """Return which axis of the table runs across or down, or None."""
        across = orientation == Qt.Orientation.Horizontal
        return self.plane.column_axis if across else self.plane.row_axis

    def caption(self, orientation: Qt.Orientation) -> str:
        """Return name and unit of the axis that runs across or down; empty if there is none."""
        number = self.axis_number(orientation)
        return "" if number is None or self._table is None else caption(self._table.axes[number])

    # -- words ---------------------------------------------------------------------------------

    def _spoken(self, table: Table, row: int, column: int) -> str:
        cell = self.plane.cell(row, column)
        text = table.said(float(self._values[row, column]))
        place = full_place_text(table, cell)
        parts = [f"{text} at {place}" if place else text]
        parts += self._states(row, column)
        parts += [f"{severity}: {sentence}" for severity, sentence in self._findings_at(cell)]
        return "; ".join(parts)

    def _states(self, row: int, column: int) -> list[str]:
        said = (
            (self._locked, "locked"),
            (self._changed, self.changed_words[0]),
            (self._off_raster, "between storage steps"),
            (self._beyond, "outside the limits"),
        )
        states = [words for marks, words in said if marks[row, column]]
        if self._is_off_scale(row, column):
            states.append("far from the other values")
        if self._table is not None:
            states += self._proposed_words(self._table, row, column)
        if self._remark(row, column):
            states.append(self._remark(row, column))
        if self._cell_marks is not None:
            states.append(self._cell_marks.words(self.plane.cell(row, column)))
        return states

    def _told(self, table: Table, row: int, column: int) -> str:
        cell = self.plane.cell(row, column)
        value = float(self._values[row, column])
        number = table.said(value, 17)
        place = full_place_text(table, cell)
        lines = [f"{number} at {place}" if place else number]
        if self._off_raster[row, column]:
            below, above = table.storage.neighbours(value)
            lines.append(
                f"The controller cannot hold it: nearest are {table.said_short(below, 9)} and "
                f"{table.said(above, 9)}."
            )
        if self._beyond[row, column]:
            lines.append(f"Outside the limits {limits_text(table)}.")
        if self._is_off_scale(row, column):
            lines.append("Far from the other values: the colours do not reach so far.")
        if self._locked[row, column]:
            lines.append("Locked: edits leave it as it is.")
        if self._changed[row, column]:
            lines.append(self.changed_words[1])
        lines += [f"{words.capitalize()}." for words in self._proposed_words(table, row, column)]
        if self._remark(row, column):
            lines.append(self._remark(row, column).capitalize())
        if self._cell_marks is not None:
            lines.append(f"{self._cell_marks.words(cell).capitalize()}.")
        lines += [
            f"{str(severity).capitalize()}: {sentence}"
            for severity, sentence in self._findings_at(cell)
        ]
        return "\n".join(lines)

    # -- keeping up ----------------------------------------------------------------------------

    def _read(self) -> None:
        table = self.source.table
        self._table = table
        self._proposed: FloatArray | None = None
        if table is None:
            self.plane = Plane(())
            return
        self.plane = plane = Plane.at(table, self.source.cursor)
        self._decimals = decimals(table.storage)
        self._levels = levels(table.values)
        self._signed = is_signed(self._levels)
        self._values = plane.of(table.values)
        self._steps = steps_of(self._values, self._levels)
        self._locked = plane.of(locked_cells(table))
        self._off_raster = plane.of(off_raster_cells(table))
        self._beyond = plane.of(beyond_limits(table))
        self._changed = plane.of(changed_cells(table, self.source.saved_table))
        self._read_cell_marks()
        self._read_proposal()

    def _read_cell_marks(self) -> None:
        marks = self.source.cell_marks
        none = np.zeros((self.plane.rows, self.plane.columns), dtype=np.int64)
        self._levels_of_marks, self._full, self._past_end = none, none, none
        self._cell_marks = marks
        if marks is not None:
            self._levels_of_marks = self.plane.of(marks.levels)
            self._full = self.plane.of(marks.full)
            if marks.beyond is not None:
                self._past_end = self.plane.of(marks.beyond)

    def _on_cell_marks(self) -> None:
        if self._table is not None and self.source.table is self._table:
            self._read_cell_marks()
            self._all_changed()

    def _read_proposal(self) -> None:
        proposed, table = self.source.proposed_table, self._table
        self._proposed = None
        if table is not None and proposed is not None and proposed.axes == table.axes:
            self._proposed = self.plane.of(proposed.values)
            both_empty = np.isnan(self._proposed) & np.isnan(self._values)
            self._differs = (self._proposed != self._values) & ~both_empty

    def _remark(self, row: int, column: int) -> str:
        if self._proposed is None:
            return ""
        return self.source.proposal_remarks.get(self.plane.cell(row, column), "")

    def _on_proposal(self) -> None:
        if self._table is not None and self.source.table is self._table:
            self._read_proposal()
            self._all_changed()

    def _on_table(self) -> None:
        self.beginResetModel()
        self._read()
        self.endResetModel()

    def _on_values(self, cells: IntArray) -> None:
        before = self._levels if self._table is not None else None
        if self.source.table is None or self.source.table.shape != self.plane.shape:
            self._on_table()
            return
        self._read()
        if self._levels != before:
            self._all_changed()  # every tint moved
            return
        rows, columns = self.plane.places(np.asarray(cells))
        if rows.size:
            # One rectangle for an edit: a signal per cell costs more than painting a few more.
            self.dataChanged.emit(
                self.index(int(rows.min()), int(columns.min())),
                self.index(int(rows.max()), int(columns.max())),
            )

    def _on_saved(self) -> None:
        if self._table is None or self.source.table is not self._table:
            return
        self._changed = self.plane.of(changed_cells(self._table, self.source.saved_table))
        self._all_changed()

    def _on_cursor(self) -> None:
        table = self.source.table
        if table is None or len(table.shape) < 3 or table.shape != self.plane.shape:
            return
        if Plane.at(table, self.source.cursor) != self.plane:
            self._read()
            self._all_changed()

    def _all_changed(self) -> None:
        if self.rowCount() and self.columnCount():
            last = self.index(self.rowCount() - 1, self.columnCount() - 1)
            self.dataChanged.emit(self.index(0, 0), last)
