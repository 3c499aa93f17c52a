"""Menus: rows with an icon or a tick, text, keys; hairlines between groups."""

from __future__ import annotations

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QIcon, QPainter
from PySide6.QtWidgets import QStyle, QStyleOption, QStyleOptionMenuItem, QWidget

from .brush import box, chevron, colour, tick
from .palettes import tones_of
from .tokens import APART, ICON, NEAR

_S = QStyle.StateFlag
_Item = QStyleOptionMenuItem.MenuItemType
SEPARATOR = 9
_COLUMN = NEAR + ICON + NEAR
"""Room for the icon or the tick, before the text."""
_KEYS = 2 * APART
"""Least room between a text and its keys."""
_FLAGS = Qt.TextFlag.TextShowMnemonic | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextSingleLine


def menu_panel(painter: QPainter, option: QStyleOption) -> None:
    """Paint the ground of a menu."""
    own = tones_of(option.palette)
    painter.fillRect(option.rect, colour(own.line))
    painter.fillRect(option.rect.adjusted(1, 1, -1, -1), colour(own.base))


def row_size(option: QStyleOptionMenuItem, line: int) -> tuple[int, int]:
    """Return width and height of a row, for a text of a given height."""
    if option.menuItemType == _Item.Separator:
        return 10, SEPARATOR
    label, _, keys = option.text.partition("\t")
    metrics = option.fontMetrics
    width = _COLUMN + metrics.horizontalAdvance(label.replace("&", "")) + 3 * NEAR
    width += _KEYS + metrics.horizontalAdvance(keys) if keys else 0
    return width, max(line + 10, 26)


def menu_row(painter: QPainter, option: QStyleOptionMenuItem, widget: QWidget | None) -> None:
    """Paint one row of a menu."""
    own, rect = tones_of(option.palette), option.rect
    if option.menuItemType == _Item.Separator:
        middle = rect.center().y()
        painter.fillRect(rect.left() + NEAR, middle, rect.width() - 2 * NEAR, 1, colour(own.line))
        return
    able = bool(option.state & _S.State_Enabled)
    if option.state & _S.State_Selected:
        fill = own.selection if able else own.hover
        box(painter, rect.adjusted(3, 1, -3, -1), fill)
    square = QRect(rect.left() + NEAR, 0, ICON, ICON)
    square.moveTop(rect.top() + (rect.height() - ICON) // 2)
    mirrored = option.direction == Qt.LayoutDirection.RightToLeft
    if mirrored:
        square.moveLeft(rect.right() - NEAR - ICON)
    checkable = option.checkType != QStyleOptionMenuItem.CheckType.NotCheckable
    if checkable and option.checked:
        box(painter, square, own.accent if able else own.border, radius=3)
        tick(painter, square, own.on_accent)
    elif not option.icon.isNull():
        mode = QIcon.Mode.Normal if able else QIcon.Mode.Disabled
        option.icon.paint(painter, square, Qt.AlignmentFlag.AlignCenter, mode)
    elif checkable:
        box(painter, square, "", own.border if able else own.line, radius=3)
    label, _, keys = option.text.partition("\t")
    room = rect.adjusted(_COLUMN, 0, -2 * NEAR, 0)
    if mirrored:
        room = rect.adjusted(2 * NEAR, 0, -_COLUMN, 0)
    painter.save()
    painter.setFont(option.font)
    painter.setPen(colour(own.text if able else own.off))
    lead, trail = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight
    if mirrored:
        lead, trail = trail, lead
    painter.drawText(room, int(_FLAGS | lead), label)
    if keys:
        painter.setPen(colour(own.second if able else own.off))
        painter.drawText(room, int(_FLAGS | trail), keys)
    painter.restore()
    if option.menuItemType == _Item.SubMenu:
        place = QRect(rect.right() - 2 * NEAR - 4, rect.top(), 2 * NEAR, rect.height())
        chevron(painter, place, own.second, "left" if mirrored else "right", 4)


def bar_item(painter: QPainter, option: QStyleOptionMenuItem) -> None:
    """Paint a title in the menu bar."""
    own, rect = tones_of(option.palette), option.rect
    painter.fillRect(rect, colour(own.frame))
    able = bool(option.state & _S.State_Enabled)
    if able and option.state & (_S.State_Selected | _S.State_Sunken):
        held = bool(option.state & _S.State_Sunken)
        box(painter, rect.adjusted(1, 2, -1, -2), own.selection if held else own.hover)
    painter.setPen(colour(own.text if able else own.off))
    flags = int(
        Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextShowMnemonic | Qt.TextFlag.TextSingleLine
    )
    painter.drawText(rect, flags, option.text)
