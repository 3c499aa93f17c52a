"""Keys of the grid: which are its own, and what each does."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from . import clipboard, edits
from .cells import GridCells
from .headers import edit_breakpoint

_Key = Qt.Key
_DIRECTIONS = {
    _Key.Key_Up: "up",
    _Key.Key_Down: "down",
    _Key.Key_Left: "left",
    _Key.Key_Right: "right",
}
_MODIFIERS = (
    Qt.KeyboardModifier.ControlModifier
    | Qt.KeyboardModifier.ShiftModifier
    | Qt.KeyboardModifier.AltModifier
    | Qt.KeyboardModifier.MetaModifier
)
_PLANE_KEYS = (_Key.Key_PageUp, _Key.Key_PageDown)
_CTRL_KEYS = (
    _Key.Key_A,
    _Key.Key_C,
    _Key.Key_X,
    _Key.Key_V,
    _Key.Key_D,
    _Key.Key_R,
    _Key.Key_Home,
    _Key.Key_End,
    _Key.Key_F2,
)
_PLAIN_KEYS = (
    _Key.Key_F2,
    _Key.Key_Delete,
    _Key.Key_Backspace,
    _Key.Key_Return,
    _Key.Key_Enter,
    _Key.Key_Home,
    _Key.Key_End,
)


def is_own(event: QKeyEvent) -> bool:
    """Tell whether the grid does something of its own with a key."""
    held = event.modifiers() & _MODIFIERS
    control = held == Qt.KeyboardModifier.ControlModifier
    alt = bool(held & Qt.KeyboardModifier.AltModifier)
    key = event.key()
    if key in _DIRECTIONS or (alt and key in _PLANE_KEYS):
        return True
    if control:
        return key in _CTRL_KEYS or key in (_Key.Key_Return, _Key.Key_Enter)
    if held in (Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier):
        return key in _PLAIN_KEYS or _typed(event) != ""
    return bool(
        held == (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
        and key in (_Key.Key_C, _Key.Key_Home, _Key.Key_End)
    )


def _typed(event: QKeyEvent) -> str:
    """Return the text that starts an edit, empty for keys that type nothing."""
    if event.modifiers() & (
        Qt.KeyboardModifier.ControlModifier
        | Qt.KeyboardModifier.AltModifier
        | Qt.KeyboardModifier.MetaModifier
    ):
        return ""
    text = event.text()
    return text if text.isprintable() and text.strip() else ""


def press(view: GridCells, event: QKeyEvent) -> bool:
    """Do what a key asks for; False if the grid has no use for it."""
    key = event.key()
    control = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
    shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
    alt = bool(event.modifiers() & Qt.KeyboardModifier.AltModifier)
    if key in _DIRECTIONS:
        _arrow(view, event, _DIRECTIONS[_Key(key)], control=control, shift=shift, alt=alt)
        return True
    if alt and key in _PLANE_KEYS:
        view.step_plane(3 if shift else 2, 1 if key == _Key.Key_PageDown else -1)
        return True
    if alt:
        return False
    if control:
        return _with_control(view, _Key(key), shift=shift)
    match key:
        case _Key.Key_F2:
            edit_breakpoint(view, Qt.Orientation.Horizontal) if shift else view.edit_cell()
        case _Key.Key_Delete:
            view.apply(edits.empty)
        case _Key.Key_Backspace:
            view.edit_cell("")
        case _Key.Key_Return | _Key.Key_Enter:
            view.step_cursor("up" if shift else "down")
        case _Key.Key_Home:
            view.go(view.place[0], 0, extend=shift)
        case _Key.Key_End:
            view.go(view.place[0], view.grid.plane.columns - 1, extend=shift)
        case _:
            text = _typed(event)
            if not text:
                return False
            view.edit_cell(text)
    return True


def _arrow(
    view: GridCells, event: QKeyEvent, direction: str, *, control: bool, shift: bool, alt: bool
) -> None:
    if alt:
        if direction in ("up", "down"):
            size = 10 if shift else 1
            steps = size if direction == "up" else -size
            view.step_values(steps, held=event.isAutoRepeat())
        return
    if control:
        view.jump_cursor(direction, extend=shift)
        return
    row, column = view.place
    down, right = {"down": (1, 0), "up": (-1, 0), "right": (0, 1), "left": (0, -1)}[direction]
    view.go(row + down, column + right, extend=shift)


def _with_control(view: GridCells, key: Qt.Key, *, shift: bool) -> bool:
    plane = view.grid.plane
    match key:
        case _Key.Key_A:
            view.selectAll()
        case _Key.Key_C:
            clipboard.copy(view, with_axes=shift)
        case _Key.Key_X:
            clipboard.cut(view)
        case _Key.Key_V:
            clipboard.paste(view)
        case _Key.Key_D:
            view.apply(partial(edits.plain, "fill_down"))
        case _Key.Key_R:
            view.apply(partial(edits.plain, "fill_right"))
        case _Key.Key_Home:
            view.go(0, 0, extend=shift)
        case _Key.Key_End:
            view.go(plane.rows - 1, plane.columns - 1, extend=shift)
        case _Key.Key_F2:
            edit_breakpoint(view, Qt.Orientation.Vertical)
        case _Key.Key_Return | _Key.Key_Enter:
            view.source.tell(
                "Type a value first; Ctrl+Enter then gives it to all selected cells.", refused=True
            )
        case _:
            return False
    return True
