"""The work areas of a window, each made when it is first asked for."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QScrollArea, QStackedWidget, QWidget

from app.areas import Area
from app.needs import TUNE
from app.work_area import Window, WorkArea


class AreaStack(QStackedWidget):
    """All work areas, one of them in sight.

    Parameters
    ----------
    window : Window
        What the areas may ask things of.
    areas : sequence of Area
    """

    def __init__(self, window: Window, areas: Sequence[Area]) -> None:
        super().__init__()
        self._window = window
        self._areas = {area.id: area for area in areas}
        self._places = {area.id: QStackedWidget() for area in areas}
        self._pages: dict[str, WorkArea] = {}
        self._frames: dict[str, QWidget] = {}
        for place in self._places.values():
            self.addWidget(place)

    @property
    def shown(self) -> str:
        """Id of the area in sight."""
        return list(self._places)[self.currentIndex()]

    def show_area(self, id: str) -> None:
        """Bring an area into sight."""
        self.setCurrentWidget(self._places[id])

    def page(self, id: str) -> WorkArea:
        """Return an area's page, made when it is first asked for."""
        if id not in self._pages:
            page = self._areas[id].make(self._window)
            page.jumped.connect(lambda: self._window.show_area(TUNE))
            self._pages[id] = page
            self._frames[id] = _scrolling(page)
            self.put(id, None)
        return self._pages[id]

    def made(self, id: str) -> WorkArea | None:
        """Return an area's page if it has been made."""
        return self._pages.get(id)

    @property
    def page_in_sight(self) -> WorkArea | None:
        """The page of the area in sight; None while something else stands in its place."""
        frame = self._frames.get(self.shown)
        there = frame is not None and self._places[self.shown].currentWidget() is frame
        return self._pages[self.shown] if there else None

    def put(self, id: str, stand_in: QWidget | None) -> bool:
        """Show what stands in for an area's page, or, for None, the page.

        Returns
        -------
        bool
            Whether that took the keyboard from what stood there.
        """
        place = self._places[id]
        widget = stand_in or self._frames[id]
        if place.indexOf(widget) < 0:
            place.addWidget(widget)
        if place.currentWidget() is widget:
            return False
        focused = self.window().focusWidget()
        had_keyboard = focused is None or place.isAncestorOf(focused)
        place.setCurrentWidget(widget)
        return had_keyboard


def _scrolling(page: QWidget) -> QScrollArea:
    """Return a page that scrolls on a very small screen, rather than lose its lower edge."""
    area = QScrollArea()
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setWidgetResizable(True)
    area.setWidget(page)
    return area
