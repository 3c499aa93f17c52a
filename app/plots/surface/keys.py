"""Keys on a surface: the cross-hair, the values, and from where it is seen."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent

from app.plots.surface.camera import Look
from app.plots.surface.hand import Hand
from app.plots.surface.scene_view import SceneView

_Key = Qt.Key
_MOVES = {
    _Key.Key_Up: (0, -1),
    _Key.Key_Down: (0, 1),
    _Key.Key_Left: (1, -1),
    _Key.Key_Right: (1, 1),
}
_LOOKS = {
    _Key.Key_C: Look.CORNER,
    _Key.Key_F: Look.FRONT,
    _Key.Key_S: Look.SIDE,
    _Key.Key_T: Look.TOP,
}
TURN = 6.0
"""Degrees for each press."""
_TURNS = {
    _Key.Key_J: (-TURN, 0.0),
    _Key.Key_L: (TURN, 0.0),
    _Key.Key_I: (0.0, TURN),
    _Key.Key_K: (0.0, -TURN),
}
_ZOOMS = {_Key.Key_Plus: 1.15, _Key.Key_Equal: 1.15, _Key.Key_Minus: 1 / 1.15}
_STEPS = {_Key.Key_PageUp: 1, _Key.Key_PageDown: -1}
COARSE = 10


def press_key(view: SceneView, hand: Hand, event: QKeyEvent) -> bool:
    """Answer a key; False if it means nothing here."""
    key = Qt.Key(event.key())
    modifiers = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
    shift = bool(modifiers & Qt.KeyboardModifier.ShiftModifier)
    control = bool(modifiers & Qt.KeyboardModifier.ControlModifier)
    if modifiers & (Qt.KeyboardModifier.AltModifier | Qt.KeyboardModifier.MetaModifier):
        return False
    if key in _MOVES:
        _move(view, *_MOVES[key], extend=shift, far=control)
    elif key in _STEPS and not control and view.editable:
        view.step_values(_STEPS[key] * (COARSE if shift else 1), event)
    elif key in _ZOOMS and not control:
        view.set_camera(view.camera.zoomed(_ZOOMS[key]))
    elif key == _Key.Key_Escape:
        return hand.cancel()
    elif modifiers:
        return False
    elif key in _LOOKS:
        view.look(_LOOKS[key])
    elif key == _Key.Key_O:
        view.copy_picture()
    elif key == _Key.Key_P:
        view.set_perspective(not view.camera.perspective)
    elif key in _TURNS:
        view.set_camera(view.camera.turned(*_TURNS[key]))
    elif key == _Key.Key_Home:
        view.fit()
    else:
        return False
    return True


def _move(view: SceneView, axis: int, way: int, *, extend: bool, far: bool) -> None:
    first = view.sheets[0].layer.table
    cell = list(view.cell)
    if far:
        cell[axis] = first.shape[axis] - 1 if way > 0 else 0
    else:
        cell[axis] += way
    if extend:
        view.select_to(tuple(cell))
    else:
        view.set_cell(tuple(cell))
