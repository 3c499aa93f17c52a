"""An axis written in one line: ``pedal [%]: 0 25 50 100`` or ``wiper_state: off slow fast``.

Before the colon stands an input the controller knows (`calib_model.core.roles`) or a name, and the
unit in brackets, which a known input need not have.  Numbers are breakpoints; words are labels of
0, 1, 2, ..., and make an axis that is read in steps.  ``@axis.speed`` is the set's shared axis.
"""

from __future__ import annotations

import re

import numpy as np

from ..core.axis import Axis, Interpolation
from ..core.calibration_set import CalibrationSet
from ..core.labels import Labels
from ..core.roles import QUANTITIES
from ..core.typed_number import looks_numeric, parse_number
from ..core.units import known
from ..errors import EditRefused, ModelError

_HEAD = re.compile(r"\s*(?P<name>[^\[\]:]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*:(?P<values>.*)", re.S)
EXAMPLES = "Write it as 'pedal [%]: 0 25 50 100', 'wiper_state: off slow fast' or '@axis.speed'."


def axis_from_text(text: str, content: CalibrationSet | None = None) -> Axis:
    """Make an axis of a line of text.

    Parameters
    ----------
    text : str
    content : CalibrationSet, optional
        Where a shared axis is looked up.

    Raises
    ------
    EditRefused
        If the line is not understood, a unit is not known, or breakpoints do not rise.

    Examples
    --------
    >>> axis_from_text("pedal: 0 25 50").unit
    '%'
    >>> wiper = axis_from_text("wiper_state: off slow fast")
    >>> wiper.name, wiper.said(2), str(wiper.interpolation)
    ('Wiper state', 'fast', 'step')
    """
    typed = text.strip()
    if typed.startswith("@"):
        shared = content.shared_axes.get(typed[1:].strip()) if content is not None else None
        if shared is None:
            has = ", ".join(content.shared_axes) if content is not None else ""
            raise EditRefused(
                f"The set has no shared axis {typed[1:].strip()!r}.",
                f"Its shared axes are: {has}." if has else "It has none; write the axis out.",
            )
        return shared
    head = _HEAD.fullmatch(typed)
    if head is None or not head["name"] or not head["values"].strip():
        raise EditRefused(f"{typed[:60]!r} is no axis.", EXAMPLES)
    quantity = head["name"] if head["name"] in QUANTITIES else ""
    name = quantity.replace("_", " ").capitalize() if quantity else head["name"]
    unit = (head["unit"] or "").strip() or QUANTITIES.get(quantity, "-")
    if not known(unit):
        raise EditRefused(
            f"Unit {unit!r} of {name.lower()} is not known.",
            "Write it as N.m, km/h, degC, rad/s, m/s2, kN or alike, or - for none.",
        )
    return _with_values(name, unit, quantity, _words(head["values"]))


def _words(text: str) -> list[str]:
    apart = re.split(r"\s*;\s*|\s*,\s+|\s+", text.strip())
    words = [word for word in apart if word]
    if len(words) == 1 and "," in words[0]:
        raise EditRefused(
            f"{words[0]!r} could be one number or several breakpoints.",
            "Put spaces between breakpoints.",
        )
    return words


def _with_values(name: str, unit: str, quantity: str, words: list[str]) -> Axis:
    try:
        if not any(looks_numeric(word) for word in words):
            labels = Labels.of(words)
            return Axis(
                np.arange(float(len(words))),
                name,
                unit,
                quantity,
                Interpolation.STEP,
                labels=labels,
            )
        axis = Axis(np.array([parse_number(word) for word in words]), name, unit, quantity)
    except (EditRefused, ModelError) as error:
        raise EditRefused(f"Axis {name}: {error.problem}", error.remedy or EXAMPLES) from None
    if not axis.ordered:
        raise EditRefused(
            f"Breakpoints of {name.lower()} do not rise strictly.", "Put them in order."
        )
    return axis
