"""The slim bar at the left edge that switches between the work areas."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRect, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from app.areas import AREAS, Area
from app.look.brush import box, colour
from app.look.icons import icon
from app.look.palettes import tones_of
from app.look.rows import BAR
from app.look.tokens import APART, CONTROL, NEAR, TIGHT, WIDE
from app.look.type import grown, sized
from app.plain import plain_tip

GLYPH = 20
_NAMES = tuple(area.name for area in AREAS)


class AreaButton(QAbstractButton):
    """One work area: its icon with the name below, a bar beside the one that is shown."""

    def __init__(self, area: Area) -> None:
        super().__init__()
        self.setText(area.name)
        self._icon = area.icon
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAccessibleName(f"Work area {area.name}")
        self.setToolTip(plain_tip(f"Go to the work area {area.name} ({area.key})."))
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAttribute(Qt.WidgetAttribute.WA_Hover)

    def sizeHint(self) -> QSize:
        """Return a large target, also for gloved hands; all are as wide as the longest name."""
        metrics = QFontMetrics(sized(self.font(), "small", strong=True))
        widest = max(metrics.horizontalAdvance(name) for name in _NAMES)
        return QSize(
            max(widest + APART, CONTROL + WIDE),
            APART + grown(GLYPH) + TIGHT + metrics.height() + NEAR,
        )

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw icon and name."""
        painter, own = QPainter(self), tones_of(self.palette())
        chosen, rect = self.isChecked(), self.rect()
        if chosen:
            painter.fillRect(rect, colour(own.panel))
            painter.fillRect(0, 0, BAR, rect.height(), colour(own.accent))
        elif self.underMouse():
            painter.fillRect(rect, colour(own.hover))
        edge = grown(GLYPH)
        square = QRect((rect.width() - edge) // 2, APART, edge, edge)
        icon(self._icon, "accent" if chosen else "second").paint(painter, square)
        font = sized(self.font(), "small", strong=chosen)
        painter.setFont(font)
        painter.setPen(colour(own.text if chosen else own.second))
        line = QRect(0, square.bottom() + TIGHT, rect.width(), QFontMetrics(font).height())
        painter.drawText(line, int(Qt.AlignmentFlag.AlignCenter), self.text())
        if self.hasFocus():
            box(painter, rect.adjusted(1, 1, -1, -1), "", own.accent, width=2)


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
