"""Icons: outlines from Lucide, drawn at the size and in the colour that is needed.

An icon has no picture of its own: each time it is painted, its outline is drawn in the colours of
the theme in use, so that it is crisp at any scale and follows the theme at once.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from PySide6.QtCore import QByteArray, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QGuiApplication, QIcon, QIconEngine, QPainter, QPixmap
from PySide6.QtSvg import QSvgRenderer

from .palettes import tones_of

ICONS = Path(__file__).resolve().parents[2] / "assets" / "icons"
_STROKE = "1.75"
"""Width of every stroke, of 24: between the two weights of the typeface."""


@lru_cache(maxsize=512)
def _drawing(name: str, token: str) -> QSvgRenderer:
    text = (ICONS / f"{name}.svg").read_text(encoding="utf-8")
    text = text.replace("currentColor", token).replace(
        'stroke-width="2"', f'stroke-width="{_STROKE}"'
    )
    return QSvgRenderer(QByteArray(text.encode()))


class _Outline(QIconEngine):
    """Draws one icon in a colour of the theme."""

    def __init__(self, name: str, tone: str) -> None:
        super().__init__()
        self._name, self._tone = name, tone

    def paint(self, painter: QPainter, rect: QRect, mode: QIcon.Mode, state: QIcon.State) -> None:
        """Draw the outline."""
        own = tones_of(QGuiApplication.palette())
        token: str = own.off if mode == QIcon.Mode.Disabled else getattr(own, self._tone)
        _drawing(self._name, token).render(painter, QRectF(rect))

    def pixmap(self, size: QSize, mode: QIcon.Mode, state: QIcon.State) -> QPixmap:
        """Return the outline as a picture."""
        made = QPixmap(size)
        made.fill(Qt.GlobalColor.transparent)
        painter = QPainter(made)
        self.paint(painter, QRect(0, 0, size.width(), size.height()), mode, state)
        painter.end()
        return made

    def clone(self) -> QIconEngine:
        """Return another of the same."""
        made = _Outline(self._name, self._tone)
        _KEPT.append(made)
        return made


_KEPT: list[QIconEngine] = []
"""Qt owns the engines; this keeps their drawing, which is Python's, for as long."""


@lru_cache(maxsize=256)
def icon(name: str, tone: str = "text") -> QIcon:
    """Return an icon.

    Parameters
    ----------
    name : str
        Of a file in ``assets/icons``, without its ending.
    tone : str
        Token of its colour (`app.look.tokens.Tones`): ``text``, ``second``, ``accent``,
        ``on_accent``.

    Raises
    ------
    FileNotFoundError
        There is no such icon.
    """
    if not (ICONS / f"{name}.svg").is_file():
        raise FileNotFoundError(f"There is no icon {name!r} in {ICONS}: copy its file there.")
    engine = _Outline(name, tone)
    _KEPT.append(engine)
    return QIcon(engine)
