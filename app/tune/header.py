"""What the table in work is, above the grid, and what the cell under the cross-hair holds."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from app.desk import Desk
from app.grid.entry_strip import ShortLabel
from app.look.tokens import NEAR
from app.plain import RichLabel, plain_tip
from calib_model.core.numbers import exact, short, with_unit
from calib_model.core.table import Table

GAP = "  ·  "


class TableHeader(QWidget):
    """Three lines: name and place; facts (left out where height is short); the cell."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        # A number cut at the edge would read as another one: the plain lines end in an ellipsis.
        self._name, self._facts, self._cell = RichLabel(), ShortLabel(), ShortLabel()
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(8, 6, 8, 4)
        self._row.setSpacing(NEAR)
        column = QVBoxLayout()
        self._row.addLayout(column, 1)
        column.setSpacing(1)
        for label in (self._name, self._facts, self._cell):
            policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
            label.setSizePolicy(policy)
            label.setTextInteractionFlags(Qt.TextInteractionFlag.NoTextInteraction)
            column.addWidget(label)
        self._cell.setAccessibleName("Cell under the cross-hair")
        for signal in (
            desk.table_changed,
            desk.edited,
            desk.current_changed,
            desk.driving.cell_marks_changed,
        ):
            signal.connect(self._show_table)
        for signal in (desk.cursor_changed, desk.reference_changed, desk.proposal_changed):
            signal.connect(self._show_cell)
        self._show_table()

    def stand_beside(self, widget: QWidget) -> None:
        """Stand something at the right that comes and goes without moving the grid."""
        self._row.addWidget(widget)

    def set_brief(self, brief: bool) -> None:
        """Leave the line of facts out where height is short."""
        self._facts.setVisible(not brief)

    def _show_table(self, _event: object = None) -> None:
        table = self._desk.table
        if table is None:
            self._name.setText("<b>No table</b>")
            self._facts.setText("Open a set (Ctrl+O) and choose a table.")
            self._cell.setText("")
            return
        function = f" \N{EN DASH} {table.function}" if table.function else ""
        self._name.setText(
            f"<span style='font-size:large'><b>{_plain(table.label)}</b></span>"
            f"&nbsp;&nbsp;{_plain(table.id)}{_plain(function)}"
        )
        facts = _facts(table)
        marks = self._desk.driving.cell_marks
        if marks is not None and marks.summary:
            facts.insert(0, marks.summary[:1].upper() + marks.summary[1:])
        self._facts.setText("  ·  ".join(facts))
        self.setToolTip(plain_tip(table.description))
        self._show_cell()

    def _show_cell(self) -> None:
        table = self._desk.table
        if table is None:
            return
        text = cell_words(table, self._desk.cursor)
        proposed = _other_value(self._desk.proposed_table, table, self._desk.cursor)
        if proposed is not None and not _same(proposed, float(table.values[self._desk.cursor])):
            # Next to what is held now: the line may be cut at its end.
            now, gap, rest = text.partition(GAP)
            text = f"{now}{GAP}proposed {table.said(proposed)}{gap}{rest}"
        saved = _other_value(self._desk.saved_table, table, self._desk.cursor)
        if saved is not None and not _same(saved, float(table.values[self._desk.cursor])):
            text += f"  ·  saved {table.said(saved)}{_away(table, self._desk.cursor, saved)}"
        reference = _other_value(self._desk.reference_table, table, self._desk.cursor)
        if reference is not None and self._desk.reference is not self._desk.current:
            away = _away(table, self._desk.cursor, reference)
            text += f"  ·  reference {table.said(reference)}{away}"
        marks = self._desk.driving.cell_marks
        if marks is not None:
            text += f"  ·  {marks.words(self._desk.cursor)}"
        self._cell.setText(text)


def _facts(table: Table) -> list[str]:
    facts = [table.kind.capitalize()]
    if table.unit not in ("-", "0/1"):
        facts[0] += f" in {with_unit(0, table.unit).split(' ', 1)[-1]}"
    if np.isfinite(table.lower) or np.isfinite(table.upper):
        facts.append(f"limits {table.said_short(table.lower)} to {table.said_short(table.upper)}")
    facts.append(str(table.storage))
    for axis in table.axes:
        if axis.interpolation == "step":
            facts.append(f"{axis.label.lower()} in steps")
        if axis.shared:
            facts.append(f"{axis.label.lower()} shared")
    return facts


def cell_words(table: Table, cell: tuple[int, ...]) -> str:
    """Return a cell in words: where, value, raw value and the representable neighbours."""
    value = float(table.values[cell])
    where = ", ".join(a.said(x) for x, a in zip(table.coordinates(cell), table.axes, strict=True))
    text = f"{where}: " if where else ""
    text += table.said(value, 9)
    if table.storage.is_integer and np.isfinite(value):
        below, above = table.storage.neighbours(value)
        if bool(table.storage.representable(value)):
            text += f"  ·  raw {int(table.storage.raw(value))}"
        else:
            text += f"  ·  stored as {exact(float(table.storage.nearest(value)))}"
        beside = [table.said_exactly(v) for v in (below, above) if v != value]
        text += f"  ·  next {' and '.join(beside)}"
    return text


def _other_value(other: Table | None, table: Table, cell: tuple[int, ...]) -> float | None:
    if other is None or other is table or other.axes != table.axes:
        return None
    return float(other.values[cell])


def _away(table: Table, cell: tuple[int, ...], other: float) -> str:
    """Return how far the cell is from another state, such as `` (+2.5)``; empty where it is not."""
    by = float(table.values[cell]) - other
    if not np.isfinite(by) or by == 0 or table.labels.name(other):
        return ""
    return f" ({'+' if by > 0 else ''}{short(by, 6)})"


def _same(a: float, b: float) -> bool:
    return a == b or (np.isnan(a) and np.isnan(b))


def _plain(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
