"""The row of buttons above a surface: standard views, and how lines run."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QToolButton, QWidget

from app.plain import plain_tip
from app.plots.surface.camera import Look

LOOKS = {
    Look.CORNER: ("Corner", "C", "Look from a corner; once more for the next one."),
    Look.FRONT: ("Front", "F", "Look along the rows' axis: columns run to the right."),
    Look.SIDE: ("Side", "S", "Look along the columns' axis: rows run to the right."),
    Look.TOP: ("Top", "T", "Look from above, as the heat map lies."),
}
"""Text, key and tip of each standard view."""
PERSPECTIVE = ("Perspective", "P", "Draw far parts smaller, or all to one scale (orthographic).")


class Bar(QWidget):
    """Buttons for the standard views.

    Signals
    -------
    asked : Look
    perspective : bool
    """

    asked = Signal(object)
    perspective = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Views of the surface")
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        self.buttons: dict[Look, QToolButton] = {}
        for look, (text, key, tip) in LOOKS.items():
            button = self._button(text, key, tip)
            button.clicked.connect(lambda _checked=False, look=look: self.asked.emit(look))
            self.buttons[look] = button
            row.addWidget(button)
        self.lines = self._button(*PERSPECTIVE)
        self.lines.setCheckable(True)
        self.lines.setChecked(True)
        self.lines.clicked.connect(lambda checked=False: self.perspective.emit(bool(checked)))
        row.addSpacing(6)
        row.addWidget(self.lines)
        row.addStretch(1)
        # Where it is narrow the row gives way: keys and menu do the same.
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def _button(self, text: str, key: str, tip: str) -> QToolButton:
        button = QToolButton(self)
        button.setText(text)
        button.setToolTip(plain_tip(f"{tip} ({key} in the plot)"))
        button.setAccessibleName(f"{text} view" if text != PERSPECTIVE[0] else text)
        button.setAccessibleDescription(tip)
        button.setAutoRaise(True)
        return button
