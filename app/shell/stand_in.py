"""A plain Tune page from the grid and the table list alone, until the real one is there."""

from __future__ import annotations

import importlib
import importlib.util

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSplitter, QWidget

from app.desk import Desk


class StandInPage(QWidget):
    """Shows what exists of the work area Tune."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.grid = self.plots = self.table_list = self.findings = None
        split = QSplitter(Qt.Orientation.Horizontal)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(split)
        if importlib.util.find_spec("app.grid.table_list") is not None:
            self.table_list = importlib.import_module("app.grid.table_list").TableList(desk)
            split.addWidget(self.table_list)
        if importlib.util.find_spec("app.grid.view") is not None:
            self.grid = importlib.import_module("app.grid.view").GridView(desk)
            split.addWidget(self.grid)
        if not split.count():
            split.addWidget(QLabel("The work area Tune is not part of this installation."))
