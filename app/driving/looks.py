"""How runs and channels are told apart in a plot: the set by the dash, the channel by a mark.

Colour comes on top of both and is never needed.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPen

from app.colours import Inks, pen
from app.driving.shapes import DeskRun
from app.plots.legend import Entry

NOW, SAVED, REFERENCE = "now", "saved", "reference"
_STYLES = {
    NOW: Qt.PenStyle.SolidLine,
    SAVED: Qt.PenStyle.DashLine,
    REFERENCE: Qt.PenStyle.DotLine,
}
MARKS = ("", "point", "box", "warning")
"""The mark of each channel of a row: none, a disc, a square, a diamond."""
SIGNS = ("—", "○", "□", "◇")
"""The same in text."""


@dataclass(frozen=True)
class Shown:
    """A run with the part it plays in a plot.

    Parameters
    ----------
    part : str
        ``now``, ``saved`` or ``reference``.
    words : str
        Such as ``as it is now``.
    run : DeskRun
    """

    part: str
    words: str
    run: DeskRun


def colour(channel: int, part: str, inks: Inks) -> QColor:
    """Return the colour of a channel; other sets' runs stand back."""
    if part != NOW:
        return inks.quiet if not channel else (inks.accent, inks.note, inks.warning)[channel - 1]
    return (inks.line, inks.accent, inks.note, inks.warning)[channel]


def line_pen(channel: int, part: str, inks: Inks) -> QPen:
    """Return the pen of a line."""
    width = 2.0 if part == NOW and not channel else 1.5
    return pen(colour(channel, part, inks), width, _STYLES[part])


def key(shown: list[Shown], inks: Inks) -> list[Entry]:
    """Return the key of the sets."""
    return [Entry(s.words, colour(0, s.part, inks), _STYLES[s.part], 2.0) for s in shown]
