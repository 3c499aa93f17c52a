"""What the work area shows while no set is open: how to begin."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton, QVBoxLayout, QWidget

from app.plain import PlainLabel, plain_tip
from calib_model.core.plain_file import is_there

from .actions import ActionBook

IDS = ("file.open", "file.open_samples", "file.open_practice")
RECENT_SHOWN = 6


class WelcomePage(QWidget):
    """Buttons for the first steps, and the files opened last."""

    def __init__(self) -> None:
        super().__init__()
        self.column = QVBoxLayout(self)
        self.column.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.column.setSpacing(8)
        self.buttons: list[QPushButton] = []

    def show_ways(
        self, book: ActionBook, recent: list[Path], open_files: Callable[[list[Path]], object]
    ) -> None:
        """Show what can be opened now.

        Parameters
        ----------
        book : ActionBook
            Has the first steps.
        recent : list of Path
            Files opened last, newest first.
        open_files : callable
            Called with the paths to open.
        """
        while (item := self.column.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self.buttons.clear()
        head = PlainLabel("No set is open")
        font = head.font()
        font.setPointSizeF(font.pointSizeF() * 1.4)
        head.setFont(font)
        self.column.addWidget(head)
        for id in IDS:
            action = book.actions[id]
            button = QPushButton(f"{action.text()}   ({book.keys_of(id)})".replace("   ()", ""))
            button.setToolTip(plain_tip(action.toolTip()))
            button.clicked.connect(lambda _checked=False, action=action: action.trigger())
            self._add(button)
        recent = recent[:RECENT_SHOWN]
        if recent:
            self.column.addSpacing(12)
            self.column.addWidget(PlainLabel("Opened last"))
        for path in recent:
            there = is_there(path)
            button = QPushButton(path.name if there else f"{path.name} (missing)")
            button.setAccessibleName(f"Open {path}")
            button.setToolTip(plain_tip(f"Open {path}." if there else f"{path} is missing."))
            button.setEnabled(there)
            button.clicked.connect(lambda _checked=False, path=path: open_files([path]))
            self._add(button)
        hint = PlainLabel("Files can be dropped here as well.")
        self.column.addSpacing(12)
        self.column.addWidget(hint)

    def _add(self, button: QPushButton) -> None:
        button.setMinimumWidth(380)
        self.buttons.append(button)
        self.column.addWidget(button)
