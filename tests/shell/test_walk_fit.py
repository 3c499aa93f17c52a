"""Every page and dialog is walked: no text is cut or lies over another.

Sizes of text stand for scaling: at 200 % a screen of 1366 x 768 leaves 683 x 384 units, which the
window is given too.  What has no room is cut with an ellipsis on purpose by widgets that show it
whole on hover, or scrolls.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtCore import QPoint, QRect
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractScrollArea,
    QApplication,
    QCheckBox,
    QComboBox,
    QLabel,
    QPushButton,
    QRadioButton,
    QTabBar,
    QToolButton,
    QWidget,
)

from app.areas import AREAS
from app.look.parts import ShortLabel
from app.shell.actions import plain_text
from app.shell.theme import Theme
from app.shell.window import MainWindow
from tests.shell.test_shell_looks import theme
from tests.waiting import settled

__all__ = ["theme"]

DIALOGS = ("show_settings", "show_keys", "show_about", "show_changes", "show_cautions",
           "show_history", "show_palette")  # fmt: skip
LONG = "larch_normal_mode_of_the_second_winter_with_the_long_name_that_no_box_holds.h5"

KNOWN = {
    ("tune", 16): ("FindingsPanel/RemedyButton/RichLabel",
                   "remedies share the height that is left of the panel and do not scroll yet"),
}  # fmt: skip
"""What is known to be cut on a page at a size of text: the place, and why it stands."""


def shown(top: QWidget) -> Iterator[QWidget]:
    for widget in top.findChildren(QWidget):
        if widget.isVisible() and not widget.visibleRegion().isEmpty():
            yield widget


def width_of(widget: QWidget, text: str) -> int:
    return max(widget.fontMetrics().horizontalAdvance(line) for line in text.split("\n"))


def cut(widget: QWidget) -> str:
    """Return what of a widget's own text has no room; empty if all is seen, or whole on hover."""
    whole = widget.toolTip()
    if isinstance(widget, QLabel):
        text = plain_text(widget.text()) if widget.buddy() else widget.text()
        if not text or text.startswith("<"):
            return ""
        if isinstance(widget, ShortLabel):
            return "" if whole or width_of(widget, text) <= widget.width() else f"no tip: {text}"
        if widget.wordWrap():
            needed = widget.heightForWidth(widget.width())
            return f"{text} ({widget.height()} of {needed} tall)" if (
                widget.height() < needed - 1) else ""  # fmt: skip
        short = widget.width() < width_of(widget, text) and not whole
        flat = widget.height() < widget.fontMetrics().height() - 2
        return f"{text} ({widget.size().toTuple()})" if short or flat else ""
    if isinstance(widget, QPushButton | QCheckBox | QRadioButton | QToolButton):
        text = plain_text(widget.text())
        seen = not isinstance(widget, QToolButton) or widget.toolButtonStyle().value != 0
        icon_only = isinstance(widget, QToolButton) and not widget.icon().isNull() and not seen
        if not text or icon_only or whole:
            return ""
        short = widget.width() < width_of(widget, text)
        flat = widget.height() < widget.fontMetrics().height()
        return f"{text} ({widget.size().toTuple()})" if short or flat else ""
    if isinstance(widget, QTabBar):
        for place in range(widget.count()):
            text = plain_text(widget.tabText(place))
            if (
                widget.isTabVisible(place)
                and widget.tabRect(place).width() < width_of(widget, text)
                and not (widget.tabToolTip(place))
            ):
                return f"tab {text}"
        return ""
    if isinstance(widget, QComboBox) and widget.height() < widget.fontMetrics().height():
        return f"{widget.currentText()} ({widget.height()} tall)"
    return ""


def overlaps(top: QWidget) -> list[str]:
    """Return pairs of texts and controls beside each other that lie over one another."""
    kinds = (QLabel, QAbstractButton, QComboBox)
    found = []
    for parent in {widget.parentWidget() for widget in shown(top)}:
        if parent is None or parent.layout() is None:
            continue
        beside = [w for w in parent.children() if isinstance(w, kinds) and w.isVisible()
                  and parent.layout().indexOf(w) >= 0]  # fmt: skip
        for place, one in enumerate(beside):
            for other in beside[place + 1 :]:
                both = one.geometry().intersected(other.geometry())
                if both.width() > 1 and both.height() > 1:
                    found.append(f"{words(one)} / {words(other)}")
    return found


def words(widget: QWidget) -> str:
    text = widget.text() if hasattr(widget, "text") else ""  # boxes to choose from have none
    return f"{type(widget).__name__} {text or widget.accessibleName()}"


def outside(top: QWidget) -> list[str]:
    """Return controls that stick out of what holds them, where nothing scrolls them into sight."""
    found = []
    for widget in shown(top):
        if not isinstance(widget, QAbstractButton | QComboBox):
            continue
        at = widget.parentWidget()
        inner = QRect(widget.mapTo(at, QPoint(0, 0)), widget.size()) if at else QRect()
        scrolls = at is not None and isinstance(at.parentWidget(), QAbstractScrollArea)
        if at is not None and not scrolls and not at.rect().contains(inner):
            found.append(f"{words(widget)} {inner.getRect()} in {at.rect().getRect()}")
    return found


def troubles(top: QWidget) -> list[str]:
    return [
        *(f"cut: {path(w, top)}: {text}" for w in shown(top) if (text := cut(w))),
        *(f"over: {text}" for text in overlaps(top)),
        *(f"outside: {text}" for text in outside(top)),
    ]


def path(widget: QWidget, top: QWidget) -> str:
    names, at = [], widget
    while at is not None and at is not top and len(names) < 4:
        names.append(type(at).__name__)
        at = at.parentWidget()
    return "/".join(reversed(names))


def at_size(window: MainWindow, theme: Theme, size: tuple[int, int], points: int) -> None:
    window.looks._theme = theme
    window.settings.font_size = points
    window.looks.apply()
    window.resize(*size)
    QApplication.processEvents()


SIZES = [((1366, 768), 10), ((1366, 768), 16), ((683, 384), 10)]


@pytest.mark.parametrize(("size", "points"), SIZES)
@pytest.mark.parametrize("area", [area.id for area in AREAS])
def test_no_text_of_a_page_is_cut(
    opened: MainWindow, theme: Theme, qtbot, size: tuple[int, int], points: int, area: str
) -> None:  # type: ignore[no-untyped-def]
    at_size(opened, theme, size, points)
    opened.show_area(area)
    settled(qtbot, opened)
    known, _why = KNOWN.get((area, points), ("nothing", ""))
    assert [text for text in troubles(opened) if known not in text] == []


@pytest.mark.parametrize(("size", "points"), SIZES)
@pytest.mark.parametrize("show", DIALOGS)
def test_no_text_of_a_dialog_is_cut(
    opened: MainWindow, theme: Theme, size: tuple[int, int], points: int, show: str
) -> None:
    at_size(opened, theme, size, points)
    getattr(opened, show)()
    dialog = QApplication.activeModalWidget()
    assert dialog is not None
    QApplication.processEvents()
    assert troubles(dialog) == []


@pytest.mark.parametrize(("size", "points"), SIZES)
def test_no_text_of_the_empty_window_is_cut(
    window: MainWindow, theme: Theme, samples, size: tuple[int, int], points: int
) -> None:  # type: ignore[no-untyped-def]
    window.settings.add_recent(samples["normal"].with_name(LONG))
    window.refresh()
    at_size(window, theme, size, points)
    assert troubles(window) == []


@pytest.mark.parametrize(("width", "points"), [(560, 10), (683, 16), (1366, 20)])
def test_the_places_of_the_status_line_never_meet(
    opened: MainWindow, theme: Theme, width: int, points: int
) -> None:
    at_size(opened, theme, (width, 400), points)
    opened.desk.tell("A long message that says what was done, where and why. " * 6)
    QApplication.processEvents()
    line = opened.status
    findings, place = line.findings.geometry(), line.place.geometry()
    assert not findings.intersects(place)
    assert line.rect().contains(place)
    assert line.rect().contains(findings)
    assert line.toolTip()  # a message without room is whole on hover


def test_a_cut_text_is_found(qtbot) -> None:  # type: ignore[no-untyped-def]
    top = QWidget()
    qtbot.addWidget(top)
    one, other = QLabel("Some words", top), QPushButton("Some more words", top)
    top.resize(300, 60)
    top.show()
    one.setGeometry(0, 0, 200, 30)
    other.setGeometry(0, 30, 200, 30)
    assert troubles(top) == []
    one.resize(20, 30)
    other.resize(20, 30)
    assert len(troubles(top)) == 2
