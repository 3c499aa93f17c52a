"""What a place in the window shows, so that one mechanism can open the menu that belongs to it.

A widget says of what kind the things in it are: `belongs`.  The window opens the menu of that
kind, whether the mouse or the keyboard asked, after the thing under the pointer has been chosen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from weakref import WeakKeyDictionary

from PySide6.QtCore import QPoint
from PySide6.QtWidgets import QAbstractItemView, QApplication, QWidget

Choose = Callable[[QPoint], bool]
"""Chooses the thing at a point of the widget; False where there is none."""


@dataclass(frozen=True)
class _Place:
    thing: str
    choose: Choose | None


_PLACES: WeakKeyDictionary[QWidget, _Place] = WeakKeyDictionary()


def belongs(widget: QWidget, thing: str, choose: Choose | None = None) -> None:
    """Say what kind of thing a widget shows.

    Parameters
    ----------
    widget : QWidget
        A list, a grid, a plot; what lies in it belongs to it.
    thing : str
        A key of `app.shell.context_contents.CONTENTS`, such as ``cell``.
    choose : callable, optional
        Chooses what is at a point (in the widget's own coordinates; of a list, its viewport's),
        before the menu opens. By default a list makes the row there its current one.
    """
    _PLACES[widget] = _Place(thing, choose)


def at_point(point: QPoint) -> tuple[str, QPoint] | None:
    """Choose what is under a point of the screen.

    Returns
    -------
    (str, QPoint) or None
        The kind of the thing, and where its menu opens; None where nothing has a menu.
    """
    found = _place_of(QApplication.widgetAt(point))
    if found is None:
        return None
    widget, place = found
    inside = widget.viewport() if isinstance(widget, QAbstractItemView) else widget
    chosen = (place.choose or _row_of(widget))(inside.mapFromGlobal(point))
    return (place.thing, point) if chosen else None


def with_keyboard(widget: QWidget | None) -> tuple[str, QPoint] | None:
    """Return what a widget with the keyboard shows as chosen, and where its menu opens."""
    found = _place_of(widget)
    if found is None:
        return None
    holder, place = found
    if isinstance(holder, QAbstractItemView):
        index = holder.currentIndex()
        if not index.isValid():
            return None
        holder.scrollTo(index)
        row = holder.visualRect(index).intersected(holder.viewport().rect())
        return place.thing, holder.viewport().mapToGlobal(row.center())
    return place.thing, holder.mapToGlobal(holder.rect().center())


def _place_of(widget: QWidget | None) -> tuple[QWidget, _Place] | None:
    while widget is not None:
        place = _PLACES.get(widget)
        if place is not None:
            return widget, place
        if widget.isWindow():
            return None
        widget = widget.parentWidget()
    return None


def _row_of(widget: QWidget) -> Choose:
    def choose(point: QPoint) -> bool:
        if not isinstance(widget, QAbstractItemView):
            return True
        index = widget.indexAt(point)
        if not index.isValid():
            return False
        if not widget.selectionModel().isSelected(index):
            widget.setCurrentIndex(index)
        return True

    return choose
