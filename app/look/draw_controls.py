"""Buttons, boxes to tick, switches and fields."""

from __future__ import annotations

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QPainter, QPalette
from PySide6.QtWidgets import (
    QComboBox,
    QStyle,
    QStyleOption,
    QStyleOptionButton,
    QStyleOptionComplex,
    QStyleOptionFrame,
    QStyleOptionToolButton,
    QWidget,
)

from .brush import box, chevron, colour, tick
from .palettes import tones_of
from .tokens import RADIUS, TIGHT, Tones

_S = QStyle.StateFlag
MENU_ROOM = 14
"""Room for the chevron of a button that opens a menu, in pixels."""
RANK, SWITCH = "rank", "switch"
"""Properties of a button (``primary``, ``quiet``) and of a check box drawn as a switch."""


def rank_of(widget: QWidget | None) -> str:
    """Return the rank of a button: ``primary``, ``quiet`` or, for a plain one, nothing."""
    return str(widget.property(RANK) or "") if widget is not None else ""


def is_switch(widget: QWidget | None) -> bool:
    """Tell whether a check box is drawn as a switch."""
    return widget is not None and bool(widget.property(SWITCH))


def button_ground(own: Tones, option: QStyleOption, rank: str) -> tuple[str, str]:
    """Return fill and outline of a button."""
    state = option.state
    able, down = bool(state & _S.State_Enabled), bool(state & _S.State_Sunken)
    over = able and bool(state & _S.State_MouseOver)
    if rank == "primary":
        return (own.accent, "") if able else (own.hover, "")
    if state & _S.State_On:
        return own.selection, own.accent if able else own.line
    if rank == "quiet":
        return own.pressed if down else own.hover if over else "", ""
    if not able:
        return "", own.line
    # Tonal, without an outline: the text tells a button, and outlines belong to fields.
    return (own.selection if down else own.pressed if over else own.hover), ""


def push_button(painter: QPainter, option: QStyleOptionButton, widget: QWidget | None) -> None:
    """Paint the ground of a push button."""
    own, rank = tones_of(option.palette), rank_of(widget)
    flat = bool(option.features & QStyleOptionButton.ButtonFeature.Flat)
    fill, border = button_ground(own, option, rank or ("quiet" if flat else ""))
    if fill or border:
        box(painter, option.rect, fill, border)
    able = bool(option.state & _S.State_Enabled)
    if rank == "primary" and able and option.state & (_S.State_Sunken | _S.State_MouseOver):
        veil = colour(own.on_accent).toRgb()
        veil.setAlphaF(0.24 if option.state & _S.State_Sunken else 0.12)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(veil)
        painter.drawRoundedRect(option.rect, RADIUS, RADIUS)
        painter.restore()
    if option.features & QStyleOptionButton.ButtonFeature.HasMenu:
        token = own.on_accent if rank == "primary" and able else own.second
        chevron(painter, option.rect.adjusted(option.rect.width() - 22, 0, 0, 0), token)


def tool_panel(painter: QPainter, option: QStyleOption, widget: QWidget | None) -> None:
    """Paint the ground of a tool button: quiet unless it says otherwise."""
    own = tones_of(option.palette)
    raised = not option.state & _S.State_AutoRaise
    fill, border = button_ground(own, option, rank_of(widget) or ("" if raised else "quiet"))
    if fill or border:
        box(painter, option.rect, fill, border)


def tool_button(
    painter: QPainter, option: QStyleOptionToolButton, style: QStyle, widget: QWidget | None
) -> None:
    """Paint a tool button; one that opens a menu has a chevron after its text."""
    tool_panel(painter, option, widget)
    if option.state & _S.State_HasFocus:
        ring = QStyleOption(option)
        ring.rect = option.rect.adjusted(1, 1, -1, -1)
        focus_ring(painter, ring, widget)
    label = QStyleOptionToolButton(option)
    feature = QStyleOptionToolButton.ToolButtonFeature
    if option.toolButtonStyle == Qt.ToolButtonStyle.ToolButtonTextBesideIcon:
        label.rect = option.rect.adjusted(TIGHT, 0, 0, 0)  # icon and text begin at the left edge
    if option.features & feature.HasMenu:
        own = tones_of(option.palette)
        able = bool(option.state & _S.State_Enabled)
        place = QRect(option.rect.right() - MENU_ROOM - 2, option.rect.top(), MENU_ROOM,
                      option.rect.height())  # fmt: skip
        chevron(painter, place, own.second if able else own.off, "down", 3)
        label.rect = label.rect.adjusted(0, 0, -MENU_ROOM, 0)
        label.features = option.features & ~feature.HasMenu
    style.drawControl(QStyle.ControlElement.CE_ToolButtonLabel, label, painter, widget)


def focus_ring(painter: QPainter, option: QStyleOption, widget: QWidget | None) -> None:
    """Paint the ring around what has the keyboard."""
    own = tones_of(option.palette)
    token = own.accent
    rect = option.rect
    if rank_of(widget) == "primary":
        token = own.on_accent
    box(painter, rect, "", token, width=1.5, radius=RADIUS - 1)


def check_box(painter: QPainter, option: QStyleOption, widget: QWidget | None) -> None:
    """Paint the box of a check box, or a switch."""
    own, state = tones_of(option.palette), option.state
    able = bool(state & _S.State_Enabled)
    on = bool(state & _S.State_On)
    if is_switch(widget):
        _switch(painter, own, option.rect, on=on, able=able)
        return
    edge = min(option.rect.width(), option.rect.height())
    rect = QRect(option.rect.left(), option.rect.top(), edge, edge)
    some = bool(state & _S.State_NoChange)
    line = own.border if able else own.line
    if on or some:
        box(painter, rect, own.accent if able else own.border, radius=3)
        if on:
            tick(painter, rect, own.on_accent)
        else:
            dash = QRect(rect.left() + 4, rect.center().y(), rect.width() - 8, 2)
            painter.fillRect(dash, colour(own.on_accent))
    else:
        over = able and bool(state & _S.State_MouseOver)
        box(painter, rect, own.hover if over else own.base, line, radius=3)


def _switch(painter: QPainter, own: Tones, rect: QRect, *, on: bool, able: bool) -> None:
    fill = (own.accent if on else own.base) if able else own.hover
    border = own.accent if on and able else own.border if able else own.line
    box(painter, rect, fill, border, radius=rect.height() / 2)
    knob = rect.height() - 6
    left = rect.right() - knob - 2 if on else rect.left() + 3
    token = (own.on_accent if on else own.border) if able else own.line
    box(painter, QRect(left, rect.top() + 3, knob, knob), token, radius=knob / 2)


def radio(painter: QPainter, option: QStyleOption) -> None:
    """Paint the circle of a radio button."""
    own, rect = tones_of(option.palette), option.rect
    able = bool(option.state & _S.State_Enabled)
    on = bool(option.state & _S.State_On)
    border = (own.accent if on else own.border) if able else own.line
    box(painter, rect, own.base, border, width=1.5 if on else 1, radius=rect.width() / 2)
    if on:
        inner = rect.adjusted(4, 4, -4, -4)
        box(painter, inner, own.accent if able else own.border, radius=inner.width() / 2)


def field(painter: QPainter, option: QStyleOption, *, choice: bool = False) -> None:
    """Paint the ground and outline of a field to type in or to choose from."""
    own, state = tones_of(option.palette), option.state
    able = bool(state & _S.State_Enabled)
    fill = own.base if able else own.frame
    if choice and able and state & _S.State_MouseOver:
        fill = own.hover
    if able and state & _S.State_HasFocus:
        box(painter, option.rect, fill, own.accent, width=2)
    else:
        box(painter, option.rect, fill, own.border if able else own.line)


def line_edit(painter: QPainter, option: QStyleOptionFrame) -> None:
    """Paint a line to type in; one inside another field has no outline."""
    if option.lineWidth > 0:
        field(painter, option)


def combo_box(
    painter: QPainter, option: QStyleOptionComplex, style: QStyle, widget: QWidget | None
) -> None:
    """Paint a choice: a field with a chevron."""
    field(painter, option, choice=not (isinstance(widget, QComboBox) and widget.isEditable()))
    kind, part = QStyle.ComplexControl.CC_ComboBox, QStyle.SubControl.SC_ComboBoxArrow
    own = tones_of(option.palette)
    able = bool(option.state & _S.State_Enabled)
    chevron(
        painter, style.subControlRect(kind, option, part, widget), own.second if able else own.off
    )


def spin_box(
    painter: QPainter, option: QStyleOptionComplex, style: QStyle, widget: QWidget | None
) -> None:
    """Paint a number to type: a field with two chevrons."""
    field(painter, option)
    own, kind = tones_of(option.palette), QStyle.ComplexControl.CC_SpinBox
    for part, way in (
        (QStyle.SubControl.SC_SpinBoxUp, "up"),
        (QStyle.SubControl.SC_SpinBoxDown, "down"),
    ):
        if not option.subControls & part:
            continue
        rect = style.subControlRect(kind, option, part, widget)
        if option.activeSubControls & part and option.state & _S.State_Enabled:
            box(painter, rect.adjusted(1, 1, -2, -1), own.hover, radius=2)
        able = bool(option.state & _S.State_Enabled)
        chevron(painter, rect, own.second if able else own.off, way, 3)


def slider(
    painter: QPainter, option: QStyleOptionComplex, style: QStyle, widget: QWidget | None
) -> None:
    """Paint a slider: a thin groove and a round handle."""
    own, kind = tones_of(option.palette), QStyle.ComplexControl.CC_Slider
    groove = style.subControlRect(kind, option, QStyle.SubControl.SC_SliderGroove, widget)
    handle = style.subControlRect(kind, option, QStyle.SubControl.SC_SliderHandle, widget)
    middle = groove.center()
    if groove.width() >= groove.height():
        rail = QRect(groove.left(), middle.y() - 1, groove.width(), 3)
    else:
        rail = QRect(middle.x() - 1, groove.top(), 3, groove.height())
    box(painter, rail, own.border, radius=1.5)
    edge = min(handle.width(), handle.height(), 14)
    knob = QRect(0, 0, edge, edge)
    knob.moveCenter(handle.center())
    able = bool(option.state & _S.State_Enabled)
    box(painter, knob, own.accent if able else own.border, own.base, width=2, radius=edge / 2)
    if option.state & _S.State_HasFocus:
        box(painter, knob.adjusted(-2, -2, 2, 2), "", own.accent, radius=edge / 2 + 2)


def text_palette(option: QStyleOption, token: str) -> QPalette:
    """Return an option's palette with all text in one colour."""
    made = QPalette(option.palette)
    for role in (
        QPalette.ColorRole.ButtonText,
        QPalette.ColorRole.WindowText,
        QPalette.ColorRole.Text,
    ):
        made.setColor(role, colour(token))
    return made
