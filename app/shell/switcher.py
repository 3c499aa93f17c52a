"""The slim bar at the left edge that switches between the work areas."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QPalette
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from app.areas import Area
from app.plain import plain_tip


class AreaButton(QAbstractButton):
    """One work area: its name along the bar, a bar beside the one that is shown."""

    def __init__(self, area: Area) -> None:
        super().__init__()
        self.setText(area.name)
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAccessibleName(f"Work area {area.name}")
        self.setToolTip(plain_tip(f"Go to the work area {area.name} ({area.key})."))
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        # The name is turned, so that the bar stays slim beside wide tables; the room around it
        # makes a large target, also for gloved hands.
        bold = self.font()
        bold.setBold(True)
        metrics = QFontMetrics(bold)
        height = metrics.height()
        return QSize(2 * height, metrics.horizontalAdvance(self.text()) + 2 * height)

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colours = self.palette()
        if self.isChecked():
            painter.fillRect(self.rect(), colours.color(QPalette.ColorRole.Base))
            painter.fillRect(0, 0, 4, self.height(), colours.color(QPalette.ColorRole.Accent))
        elif self.underMouse():
            painter.fillRect(self.rect(), colours.color(QPalette.ColorRole.Midlight))
        if self.hasFocus():
            pen = painter.pen()
            pen.setColor(QColor(colours.color(QPalette.ColorRole.Accent)))
            pen.setWidth(2)
            painter.setPen(pen)
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.setPen(colours.color(QPalette.ColorRole.WindowText))
        font = self.font()
        font.setBold(self.isChecked())
        painter.setFont(font)
        painter.rotate(-90)
        painter.drawText(
            -self.height(),
            0,
            self.height(),
            self.width(),
            Qt.AlignmentFlag.AlignCenter,
            self.text(),
        )


class Switcher(QWidget):
    """The bar of work areas.

    Signals
    -------
    chosen : str
        Id of the area.
    """

    chosen = Signal(str)

    def __init__(self, areas: Sequence[Area]) -> None:
        super().__init__()
        self.setAccessibleName("Work areas")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        self._group = QButtonGroup(self)
        self.buttons: list[AreaButton] = []
        self._ids = [area.id for area in areas]
        for number, area in enumerate(areas):
            button = AreaButton(area)
            self._group.addButton(button, number)
            column.addWidget(button)
            self.buttons.append(button)
        column.addStretch(1)
        self._group.idClicked.connect(lambda number: self.chosen.emit(self._ids[number]))

    def show_area(self, id: str) -> None:
        """Mark the area that is shown."""
        self.buttons[self._ids.index(id)].setChecked(True)
