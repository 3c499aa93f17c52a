"""What holds other things: tabs, scroll bars, splitters, frames, headers, bars, tool tips."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import (
    QStyle,
    QStyleOption,
    QStyleOptionComplex,
    QStyleOptionHeader,
    QStyleOptionProgressBar,
    QStyleOptionSlider,
    QStyleOptionTab,
    QTabBar,
)

from .brush import box, chevron, colour
from .palettes import tones_of

_S = QStyle.StateFlag
SCROLL = 12
"""Width of a scroll bar in pixels; its handle is half of that."""
_LEAST_HANDLE = 28
_MARK = 2
_UPRIGHT = (
    QTabBar.Shape.RoundedWest,
    QTabBar.Shape.RoundedEast,
    QTabBar.Shape.TriangularWest,
    QTabBar.Shape.TriangularEast,
)


def tab(painter: QPainter, option: QStyleOptionTab) -> None:
    """Paint a tab: a label, underlined where it is chosen."""
    own, rect = tones_of(option.palette), option.rect
    chosen = bool(option.state & _S.State_Selected)
    over = bool(option.state & _S.State_MouseOver) and bool(option.state & _S.State_Enabled)
    if over and not chosen:
        box(painter, rect.adjusted(1, 3, -1, -3), own.hover)
    if chosen:
        if option.shape in _UPRIGHT:
            painter.fillRect(rect.left(), rect.top(), _MARK, rect.height(), colour(own.accent))
        else:
            mark = QRect(rect.left() + 4, rect.bottom() - _MARK + 1, rect.width() - 8, _MARK)
            painter.fillRect(mark, colour(own.accent))


def tab_base(painter: QPainter, option: QStyleOption) -> None:
    """Paint the hairline that tabs stand on."""
    rect = option.rect
    painter.fillRect(
        rect.left(), rect.bottom(), rect.width(), 1, colour(tones_of(option.palette).line)
    )


def scroll_rect(option: QStyleOptionComplex, part: QStyle.SubControl) -> QRect:
    """Return where a part of a scroll bar is; there are no arrows."""
    rect = option.rect
    if not isinstance(option, QStyleOptionSlider):
        return rect
    upright = option.orientation == Qt.Orientation.Vertical
    whole = rect.height() if upright else rect.width()
    span = option.maximum - option.minimum
    long = whole
    if span > 0:
        long = max(round(whole * option.pageStep / (span + option.pageStep)), _LEAST_HANDLE)
        long = min(long, whole)
    start = QStyle.sliderPositionFromValue(
        option.minimum, option.maximum, option.sliderPosition, whole - long, option.upsideDown
    )
    parts = QStyle.SubControl
    if part == parts.SC_ScrollBarSlider:
        at, size = start, long
    elif part == parts.SC_ScrollBarSubPage:
        at, size = 0, start
    elif part == parts.SC_ScrollBarAddPage:
        at, size = start + long, whole - start - long
    elif part == parts.SC_ScrollBarGroove:
        at, size = 0, whole
    else:
        return QRect()
    corner = rect.topLeft() + (QPoint(0, at) if upright else QPoint(at, 0))
    made = (rect.width(), size) if upright else (size, rect.height())
    return QRect(corner.x(), corner.y(), *made)


def scroll_bar(painter: QPainter, option: QStyleOptionComplex) -> None:
    """Paint a slim scroll bar."""
    own = tones_of(option.palette)
    painter.fillRect(option.rect, colour(own.panel))
    if not isinstance(option, QStyleOptionSlider) or option.maximum <= option.minimum:
        return
    handle = scroll_rect(option, QStyle.SubControl.SC_ScrollBarSlider)
    active = bool(option.activeSubControls & QStyle.SubControl.SC_ScrollBarSlider)
    inset = 2 if active else 3
    upright = option.orientation == Qt.Orientation.Vertical
    across, along = (inset, 1) if upright else (1, inset)
    thin = handle.adjusted(across, along, -across, -along)
    token = own.second if active else own.border
    box(painter, thin, token, radius=min(thin.width(), thin.height()) / 2)


def splitter(painter: QPainter, option: QStyleOption) -> None:
    """Paint the handle of a splitter: short and quiet, in the accent under the pointer."""
    own, rect = tones_of(option.palette), option.rect
    over = bool(option.state & _S.State_MouseOver)
    upright = rect.height() > rect.width()
    grip = QRect(0, 0, 2, 28) if upright else QRect(0, 0, 28, 2)
    grip.moveCenter(rect.center())
    box(painter, grip, own.accent if over else own.border, radius=1)


def frame(painter: QPainter, option: QStyleOption) -> None:
    """Paint the frame around a list or a text: a hairline."""
    painter.save()
    painter.setPen(colour(tones_of(option.palette).line))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(option.rect.adjusted(0, 0, -1, -1))
    painter.restore()


def header(painter: QPainter, option: QStyleOptionHeader) -> None:
    """Paint a section of a header: flat, with hairlines."""
    own, rect = tones_of(option.palette), option.rect
    painter.fillRect(rect, colour(own.panel))
    painter.fillRect(rect.left(), rect.bottom(), rect.width(), 1, colour(own.line))
    if option.orientation == Qt.Orientation.Horizontal:
        painter.fillRect(rect.right(), rect.top() + 4, 1, rect.height() - 8, colour(own.line))
    if option.sortIndicator != QStyleOptionHeader.SortIndicator.None_:
        up = option.sortIndicator == QStyleOptionHeader.SortIndicator.SortUp
        place = rect.adjusted(rect.width() - 16, 0, -2, 0)
        chevron(painter, place, own.second, "up" if up else "down", 3)


def item(painter: QPainter, option: QStyleOption) -> None:
    """Paint the ground of an item of a list, tree or table that has no delegate of its own."""
    own = tones_of(option.palette)
    if option.state & _S.State_Selected:
        painter.fillRect(option.rect, colour(own.selection))
    elif option.state & _S.State_MouseOver and option.state & _S.State_Enabled:
        painter.fillRect(option.rect, colour(own.hover))


def progress(painter: QPainter, option: QStyleOptionProgressBar, phase: float) -> None:
    """Paint a bar of progress; one without an end shows a piece that wanders.

    Parameters
    ----------
    painter : QPainter
    option : QStyleOptionProgressBar
    phase : float
        Where the piece is, 0 to 1.
    """
    own, rect = tones_of(option.palette), option.rect
    rail = QRect(rect.left(), rect.center().y() - 2, rect.width(), 5)
    box(painter, rail, own.line, radius=2.5)
    span = option.maximum - option.minimum
    if span > 0:
        done = max((option.progress - option.minimum) / span, 0.0)
        piece = QRect(rail.left(), rail.top(), round(rail.width() * min(done, 1.0)), rail.height())
    else:
        long = rail.width() // 3
        left = rail.left() + round((rail.width() - long) * phase)
        piece = QRect(left, rail.top(), long, rail.height())
    if piece.width() > 0:
        box(painter, piece, own.accent, radius=2.5)


def tip(painter: QPainter, option: QStyleOption) -> None:
    """Paint the ground of a tool tip."""
    painter.fillRect(option.rect, colour(tones_of(option.palette).tip))
