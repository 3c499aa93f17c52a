"""Grids of the compared tables: reference, edited set, and their difference; scrolled together."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QGuiApplication, QKeyEvent, QPalette
from PySide6.QtWidgets import QAbstractItemView, QHBoxLayout, QVBoxLayout, QWidget

from app.colours import difference_map, is_dark, mixed, text_on
from app.grid.heat import Heat, levels, steps_of
from app.grid.model import GridModel
from app.grid.plane_bar import PlaneBar
from app.grid.texts import cell_text
from app.grid.view import GridView
from app.plain import PlainLabel, plain_tip
from app.scale import is_signed
from calib_model.core.numbers import short, with_unit
from calib_model.core.table import Table

from .pair import PairSource
from .words import signed

_STEPS, _TINT = 64, 0.62
_DIGITS = 4
"""Of values that were computed, and so lie on no raster; the line above the grids has more."""
_BESIDE = "\N{EN SPACE}"
"""Keeps a number clear of a mark at the cell's left."""


class SideModel(GridModel):
    """Cells of A's or B's table; marks those whose difference counts.

    A value read between the table's own breakpoints stands in brackets.
    """

    source: PairSource

    def __init__(self, source: PairSource, parent: Any = None) -> None:
        super().__init__(source, parent)
        source.pair.marks_changed.connect(self._on_saved)

    @property
    def changed_words(self) -> tuple[str, str]:  # type: ignore[override]
        """What the bar at a cell's edge means."""
        other = self.source.pair.names[1 if self.source.which == "first" else 0]
        return f"differs from {other}", f"Differs from {other}."

    def text(self, row: int, column: int) -> str:
        """Return what is written in a cell."""
        if self._own[row, column]:
            return super().text(row, column)
        return f"({short(float(self._values[row, column]), _DIGITS)})"

    def _read(self) -> None:
        super()._read()
        aligned = self.source.pair.aligned
        if self._table is None:
            return
        own = np.ones(self._table.shape, dtype=bool)
        if aligned is not None and self.source.joined:
            own = aligned.own_first if self.source.which == "first" else aligned.own_second
            # One scale of colours for both, so that equal tints are equal values.
            both = np.concatenate([aligned.first.values, aligned.second.values], axis=None)
            self._levels = levels(both)
            self._signed = is_signed(self._levels)
            self._steps = steps_of(self._values, self._levels)
        self._own = self.plane.of(own)
        self._mark()

    def _mark(self) -> None:
        pair = self.source.pair
        if pair.aligned is not None and self._table is not None:
            self._changed = self.plane.of(pair.counted())

    def _on_saved(self) -> None:
        if self._table is not None:
            self._mark()
            self._all_changed()

    def _states(self, row: int, column: int) -> list[str]:
        states = super()._states(row, column)
        if not self._own[row, column]:
            states.insert(0, "read between its breakpoints")
        return states

    def _told(self, table: Table, row: int, column: int) -> str:
        told = super()._told(table, row, column)
        if not self._own[row, column]:
            told += "\nRead between its own breakpoints: the other table has one here."
        return told


class DifferenceModel(GridModel):
    """Cells of the difference with their signs; what is the same is a dot."""

    source: PairSource

    def __init__(self, source: PairSource, parent: Any = None) -> None:
        super().__init__(source, parent)
        self._heat = difference_heat(QGuiApplication.palette())
        source.pair.marks_changed.connect(self._on_saved)

    def use_palette(self) -> None:
        """Take the colours from the application's palette again."""
        self._heat = difference_heat(QGuiApplication.palette())
        self._all_changed()

    def text(self, row: int, column: int) -> str:
        """Return the difference with its sign."""
        if self._alike[row, column]:
            return "≈"
        value = float(self._values[row, column])
        if np.isnan(value):
            return "empty"
        if value == 0:
            return "·"
        exact = self._decimals is not None
        text = cell_text(value, self._decimals) if exact else short(value, _DIGITS)
        text = f"+{text}" if value > 0 else text
        # The sign must not lie under the mark of a breach.
        return _BESIDE + text if self._findings_at(self.plane.cell(row, column)) else text

    def data(self, index: Any, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Return what a cell shows."""
        if role == Qt.ItemDataRole.DisplayRole and self._table is not None and index.isValid():
            return self.text(index.row(), index.column()).removeprefix(_BESIDE)
        return super().data(index, role)

    def _read(self) -> None:
        super()._read()
        if self._table is not None:
            self._tint()

    def _tint(self) -> None:
        assert self._table is not None
        pair = self.source.pair
        counted = pair.counted()
        finite = np.abs(self._table.values[np.isfinite(self._table.values)])
        most = float(finite.max()) if finite.size else 0.0
        self._levels, self._signed = ((-most, most) if most else None), False  # its own colours
        steps = steps_of(self._table.values, self._levels)
        steps[~counted] = -1
        self._steps = self.plane.of(steps)
        self._changed = self.plane.of(np.zeros(self._table.shape, dtype=bool))
        alike = pair.aligned.by_rounding if pair.aligned is not None else counted
        self._alike = self.plane.of(alike)

    def _on_saved(self) -> None:
        if self._table is not None:
            self._tint()
            self._all_changed()

    def _spoken(self, table: Table, row: int, column: int) -> str:
        return self._told(table, row, column).replace("\n", "; ")

    def _told(self, table: Table, row: int, column: int) -> str:
        pair = self.source.pair
        cell = self.plane.cell(row, column)
        lines = [super()._told(table, row, column).split("\n")[0].partition(" at ")[2]]
        if pair.first is not None and pair.second is not None:
            unit = pair.first.unit
            a, b = float(pair.first.values[cell]), float(pair.second.values[cell])
            first, second = pair.letters
            lines.append(f"{first} {with_unit(a, unit, 9)}, {second} {with_unit(b, unit, 9)}")
        value = float(table.values[cell])
        if self._alike[row, column]:
            lines.append("Stored as the same number: they differ only by rounding.")
        elif np.isnan(value):
            lines.append("One of the two is empty.")
        elif value == 0:
            lines.append("The same in both.")
        else:
            lines.append(f"Difference {signed(value, table.unit, 9)}")
            if not pair.counted()[cell]:
                lines.append(f"Not beyond the threshold of {pair.threshold.words()}.")
        lines += [f"{s.capitalize()}: {text}" for s, text in self._findings_at(cell)]
        return "\n".join(filter(None, lines))


def difference_heat(palette: QPalette) -> Heat:
    """Return the diverging colours of cells for a palette, from lower to higher."""
    base = palette.color(QPalette.ColorRole.Base)
    ramp = difference_map(dark=is_dark(palette))
    picked = ramp[np.rint(np.linspace(0, len(ramp) - 1, _STEPS)).astype(int)]
    backgrounds = tuple(mixed(base, QColor(*rgb), _TINT) for rgb in picked.tolist())
    return Heat(backgrounds, tuple(text_on(b) for b in backgrounds))


class ComparedGrid(GridView):
    """A grid to look at."""

    def __init__(self, source: PairSource, parent: QWidget | None = None) -> None:
        super().__init__(source, parent)
        first = self.grid
        made = DifferenceModel if source.which == "difference" else SideModel
        self.setModel(made(source, self))
        first.deleteLater()
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.reset()

    def reset(self) -> None:
        """Show another table."""
        super().reset()
        source = getattr(self, "source", None)  # Qt resets a view while it is made
        if not isinstance(source, PairSource):
            return
        table = source.table
        side = {"first": source.pair.names[0], "second": source.pair.names[1]}.get(source.which)
        if table is not None:
            self.setAccessibleName(f"{table.label}, {side}" if side else table.label)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter goes on to the next difference; the rest as in every grid."""
        plain = not event.modifiers() & ~Qt.KeyboardModifier.ShiftModifier
        if plain and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            back = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            source = self.source
            assert isinstance(source, PairSource)
            if not source.pair.step_difference(-1 if back else 1):
                way = "before" if back else "after"
                source.tell(f"No cell differs {way} this one.")
            return
        super().keyPressEvent(event)


class GridPane(QWidget):
    """A grid under a line that says what it is."""

    def __init__(self, source: PairSource, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.source = source
        self.title = PlainLabel()
        self.title.setIndent(4)
        self.title.setMinimumWidth(40)
        self.view = ComparedGrid(source, self)
        self.title.setBuddy(self.view)
        self.bar = PlaneBar(source, self)
        self.nothing = PlainLabel()
        self.nothing.setWordWrap(True)
        self.nothing.setMargin(8)
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignCenter)
        head = QHBoxLayout()
        head.setContentsMargins(2, 1, 2, 1)
        head.addWidget(self.title, 1)
        head.addWidget(self.bar)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(head)
        column.addWidget(self.view, 1)
        column.addWidget(self.nothing, 1)
        self.setFocusProxy(self.view)

    def say(self, title: str, why_empty: str) -> None:
        """Write the title, and why there is no grid where there is none."""
        self.title.setText(title)
        self.title.setToolTip(plain_tip(title))
        empty = self.source.table is None
        self.nothing.setText(why_empty)
        self.nothing.setVisible(empty)
        self.view.setVisible(not empty)

    def wanted_height(self) -> int:
        """Return the height at which every row is seen."""
        bar = self.view.horizontalScrollBar()
        spare = 0 if bar.maximum() else bar.sizeHint().height()
        return self.title.sizeHint().height() + 4 + self.view.content_height() - spare


def scroll_together(views: list[ComparedGrid]) -> None:
    """Scroll grids of one shape together; others keep to themselves."""
    for view in views:
        for name in ("horizontalScrollBar", "verticalScrollBar"):
            bar = getattr(view, name)()

            def follow(value: int, name: str = name, view: ComparedGrid = view) -> None:
                shape = view.grid.plane.shape
                for other in views:
                    if other is not view and other.grid.plane.shape == shape:
                        getattr(other, name)().setValue(value)

            bar.valueChanged.connect(follow)
