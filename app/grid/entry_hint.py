"""What a typed sum would give, below the cell while it is typed."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QPalette
from PySide6.QtWidgets import QLineEdit, QWidget

from app.plain import PlainLabel
from calib_model.core.table import Table
from calib_model.editing.entry import EXAMPLES, parse_entry
from calib_model.errors import BitepointError

from .plane import Cell

_SIGNS = "=+*/\N{MULTIPLICATION SIGN}\N{DIVISION SIGN}"


class EntryHint(PlainLabel):
    """A line at an editor that moves nothing and takes no click.

    Parameters
    ----------
    editor : QLineEdit
        The hint lives as long and lies in the same area.
    table : Table
    cell : tuple of int
    """

    def __init__(self, editor: QLineEdit, table: Table, cell: Cell) -> None:
        super().__init__(editor.parentWidget())
        self._editor, self._table, self._cell = editor, table, cell
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAutoFillBackground(True)
        palette = self.palette()
        for role, source in (
            (QPalette.ColorRole.Window, QPalette.ColorRole.ToolTipBase),
            (QPalette.ColorRole.WindowText, QPalette.ColorRole.ToolTipText),
        ):
            palette.setColor(role, palette.color(source))
        self.setPalette(palette)
        self.setMargin(4)
        self.hide()
        editor.textChanged.connect(self.follow)
        editor.destroyed.connect(self.deleteLater)

    def follow(self, text: str) -> None:
        """Say what the text gives; nothing for a plain number, which says itself."""
        words = outcome_words(self._table, self._cell, text)
        self.setText(words)
        self._editor.setAccessibleDescription(words)
        self.setVisible(bool(words))
        if words:
            self.adjustSize()
            self._place()

    def _place(self) -> None:
        area, under = self.parentWidget(), self._editor.geometry()
        assert isinstance(area, QWidget)
        top = under.bottom() + 2
        if top + self.height() > area.height():
            top = max(under.top() - self.height() - 2, 0)
        self.move(max(0, min(under.left(), area.width() - self.width())), top)
        self.raise_()


def outcome_words(table: Table, cell: Cell, text: str) -> str:
    """Return what a typed text gives in a cell, such as ``236.5 N·m``; empty for plain values.

    While a sum is not complete, this is what can be typed.
    """
    plain = text.strip()
    if not plain or not (plain[0] in _SIGNS or plain.endswith("%")):
        return ""
    try:
        entry = parse_entry(plain, table.labels)
        only = np.zeros(table.shape, dtype=bool)
        only[cell] = True
        value = float(entry.values(table, only)[cell])
    except BitepointError:
        return EXAMPLES
    return f"= {table.said(value, 9)}"
