"""Colours of the picture: one for each part of the law, deeper for more torque."""

from __future__ import annotations

import numpy as np
from PySide6.QtGui import QColor

from app.colours import Inks, Rgb, rgba
from calib_model.core.arrays import FloatArray, IntArray
from calib_model.core.roles import ROLES

_HUES = {
    "pre_engage_torque": "#2f6fb0",
    "cruise_base_torque": "#2a9a96",
    "hill_torque": "#7f7328",
    "slip_gain": "#cc7212",
    "slip_integral_gain": "#cc7212",
    "slip_integral_release": "#cc7212",
    "yaw_error_torque": "#8a5fb5",
    "steering_limit": "#b23b5a",
    "lateral_limit": "#3a8f4d",
    "brake_control_torque": "#7b4a2d",
    "clutch_during_inside_brake": "#a0559c",
    "current_for_clamp_apply": "#4c5fc4",
    "disconnect_speed": "#747d84",
    "spin_up_torque": "#5c8a9c",
}
_CLAMP, _OTHER, _NONE = "#8c6a4f", "#6d6d6d", "#9aa3a8"


def colour_of(kind: int) -> QColor:
    """Return the colour of what governs; borders and words tell the same."""
    if kind < 0:
        return QColor(_NONE)
    role = ROLES[kind]
    fallback = _CLAMP if role.startswith(("clamp_limit", "slip_power")) else _OTHER
    return QColor(_HUES.get(role, fallback))


def shaded(kinds: IntArray, torque: FloatArray, most: float, inks: Inks) -> Rgb:
    """Return the cells' colours: by what governs, deeper for more torque.

    Parameters
    ----------
    kinds : int array, shape (rows, columns)
    torque : float array, same shape
    most : float
        Torque of the deepest colour, in N.m.
    inks : Inks

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
    """
    ground = 255.0 * rgba(inks.ground)[:3]
    share = np.clip(np.nan_to_num(torque) / (most or 1.0), 0.0, 1.0)
    depth = (0.16 + 0.64 * share)[..., None]
    rgb = np.empty((*kinds.shape, 3))
    for kind in np.unique(kinds).tolist():
        rgb[kinds == kind] = 255.0 * rgba(colour_of(kind))[:3]
    colours: Rgb = np.rint(ground * (1 - depth) + rgb * depth).astype(np.uint8)
    return colours
