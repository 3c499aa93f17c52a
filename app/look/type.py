"""The window's typeface: Inter, with figures of one width, so that columns of numbers line up."""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path

from PySide6.QtGui import QFont, QFontDatabase, QFontMetrics, QGuiApplication

from .tokens import BODY, FIGURE, REGULAR, SMALL, STRONG, TITLE

FONTS = Path(__file__).resolve().parents[2] / "assets" / "fonts"
SCALE = {"small": SMALL, "body": BODY, "title": TITLE, "figure": FIGURE}
_STRONG = ("title", "figure")
_FIRST_HEIGHT = 16
"""Height of a line in pixels at the size that the tokens are made for."""
_TABULAR = QFont.Tag("tnum")


def load_fonts() -> str:
    """Load the bundled typeface and return its family; empty if Qt cannot read it."""
    # Of what asks for bold, the semi-bold face is meant: not one that Qt thickens once more.
    os.environ.setdefault("QT_NO_SYNTHESIZED_BOLD", "1")
    family = ""
    for path in sorted(FONTS.glob("*.otf")):
        number = QFontDatabase.addApplicationFont(str(path))
        if number >= 0:
            family = QFontDatabase.applicationFontFamilies(number)[0]
    return family


def tabular(font: QFont) -> QFont:
    """Return a font with figures of one width."""
    made = QFont(font)
    made.setFeature(_TABULAR, 1)
    return made


def sized(font: QFont, step: str, *, strong: bool | None = None) -> QFont:
    """Return a font at a step of the type scale.

    Parameters
    ----------
    font : QFont
        The text font (``widget.font()``, ``option.font``).
    step : str
        ``small``, ``body``, ``title`` or ``figure``.
    strong : bool, optional
        Whether it is of the strong weight; by default titles and figures are.
    """
    made = QFont(font)
    made.setPointSizeF(max(font.pointSizeF() * SCALE[step], 6.5))
    heavy = step in _STRONG if strong is None else strong
    made.setWeight(QFont.Weight(STRONG if heavy else REGULAR))
    return made


def grown(pixels: int) -> int:
    """Return a measure that is to grow with the text: icons, boxes to tick."""
    font = QGuiApplication.font()
    return max(round(pixels * _line(font.family(), font.pointSizeF()) / _FIRST_HEIGHT), pixels)


@lru_cache(maxsize=32)
def _line(family: str, points: float) -> int:
    """Return the height of a line of the text font, which has this family and size."""
    return QFontMetrics(QGuiApplication.font()).height()


def strong(font: QFont) -> QFont:
    """Return a font in the strong weight."""
    made = QFont(font)
    made.setWeight(QFont.Weight(STRONG))
    return made
