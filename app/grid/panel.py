"""The grid with what belongs around it: the plane bar above and the entry strip below."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.desk import Desk

from .entry_strip import EntryStrip
from .plane_bar import PlaneBar
from .source import DeskSource, GridSource
from .view import GridView


class GridPanel(QWidget):
    """Grid, plane bar and entry strip on one source.

    Parameters
    ----------
    source : GridSource or Desk
    """

    def __init__(self, source: GridSource | Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.source = source if isinstance(source, GridSource) else DeskSource(source, self)
        self.view = GridView(self.source, self)
        self.bar = PlaneBar(self.source, self)
        self.strip = EntryStrip(self.source, self)
        self.view.strip = self.strip
        self.strip.closed.connect(self.view.setFocus)
        self.setFocusProxy(self.view)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.bar)
        column.addWidget(self.view, 1)
        column.addWidget(self.strip)
