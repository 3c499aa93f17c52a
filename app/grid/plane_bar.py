"""Chooses which plane of a table with three or four axes is shown."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QWidget

from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo

from .source import GridSource
from .texts import caption

_KEYS = {2: "Alt+PgUp/PgDown", 3: "Alt+Shift+PgUp/PgDown"}


class PlaneChoice(QuietCombo):
    """A list of breakpoints."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)


class PlaneBar(QWidget):
    """One list per axis after the second; hidden for tables that have none.

    Parameters
    ----------
    source : GridSource
    """

    def __init__(self, source: GridSource, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._source = source
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(6, 4, 6, 4)
        self.choices: list[PlaneChoice] = []
        source.table_changed.connect(self._build)
        source.cursor_changed.connect(self._follow)
        self._build()

    def _build(self) -> None:
        while (item := self._row.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        self.choices = []
        table = self._source.table
        further = table.axes[2:] if table is not None else ()
        for number, axis in enumerate(further, start=2):
            label = PlainLabel(f"{caption(axis)}:")
            choice = PlaneChoice(self)
            choice.addItems([axis.said(float(v)) for v in axis.values])
            choice.setAccessibleName(f"Plane at {caption(axis)}")
            choice.setToolTip(
                plain_tip(
                    f"Shows the cells at this breakpoint of {axis.label}. In the grid "
                    f"{_KEYS[number]} goes to the next and the last one."
                )
            )
            label.setBuddy(choice)
            choice.currentIndexChanged.connect(lambda index, n=number: self._choose(n, index))
            self._row.addWidget(label)
            self._row.addWidget(choice)
            self.choices.append(choice)
        self._row.addStretch(1)
        self.setVisible(bool(further))
        self._follow()

    def _choose(self, axis: int, index: int) -> None:
        cursor = list(self._source.cursor)
        if index >= 0 and axis < len(cursor) and cursor[axis] != index:
            cursor[axis] = index
            self._source.set_cursor(tuple(cursor))

    def _follow(self) -> None:
        for choice, place in zip(self.choices, self._source.cursor[2:], strict=False):
            if choice.currentIndex() != place:
                before = choice.blockSignals(True)
                choice.setCurrentIndex(place)
                choice.blockSignals(before)
