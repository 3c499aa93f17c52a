"""Both surfaces in one plot, or the surface of their difference."""

from __future__ import annotations

from typing import Any

from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.plain import PlainLabel
from app.plots.surface.layers import Layer, Style
from app.plots.surface.view import SurfaceView
from app.quiet import QuietCombo

from .pair import PairDesk

BOTH, LESS = "Both tables", "Difference"


class SurfacePane(QWidget):
    """A surface plot, made when it is first looked at.

    Parameters
    ----------
    pair : PairDesk
    """

    def __init__(self, pair: PairDesk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.pair = pair
        self.view: Any = None
        self.choice = QuietCombo()
        self.choice.addItems([BOTH, LESS])
        self.choice.setAccessibleName("Which surfaces are drawn")
        self.choice.setToolTip("Both tables as surfaces, or their difference as one.")
        self.choice.currentIndexChanged.connect(lambda _: self.refresh())
        label = PlainLabel("Show")
        label.setBuddy(self.choice)
        head = QHBoxLayout()
        head.setContentsMargins(4, 2, 4, 2)
        head.addWidget(label)
        head.addWidget(self.choice)
        head.addStretch(1)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(0)
        self._column.addLayout(head)
        pair.table_changed.connect(self.refresh)

    def refresh(self) -> None:
        """Draw what the pair holds now; nothing while it is not seen."""
        table = self.pair.table
        if table is None or table.values.ndim < 2 or not self.isVisible():
            return

        names = self.pair.names
        if self.choice.currentText() == LESS and self.pair.difference is not None:
            layers = [Layer(self.pair.difference, Style.DIFFERENCE, self.pair.less)]
        else:
            layers = [Layer(table, Style.SOLID, names[1 if self.pair.second is not None else 0])]
            if self.pair.second is not None and self.pair.first is not None:
                layers.append(Layer(self.pair.first, Style.DOTTED, names[0]))
        if self.view is None:
            self.view = SurfaceView(self.pair, self, layers)
            self.view.read_out.hide()  # the line above the grids says it
            self._column.addWidget(self.view, 1)
            self.setFocusProxy(self.view)
            self.view.set_findings(self.pair.breaches)
            self.view.show()
        else:
            self.view.set_layers(layers)

    def showEvent(self, event: Any) -> None:
        """Draw what was missed."""
        super().showEvent(event)
        self.refresh()
