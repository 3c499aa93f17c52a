"""Light and dark: palettes made from the tokens, and the bundled typeface.

Widgets use palette roles only, so that exchanging the palette changes everything.
"""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QApplication

from app.look.choices import Choices, choose
from app.look.palettes import palette
from app.look.style import LookStyle
from app.look.type import tabular


class Theme(QObject):
    """Keeps the application's palette and text size as the settings want them.

    Parameters
    ----------
    app : QApplication
    family : str
        Family of the text font; empty to keep the application's.
    """

    def __init__(self, app: QApplication, family: str = "") -> None:
        super().__init__(app)
        self._app = app
        self._family = family
        self._wanted = "system"
        self._style = LookStyle()  # kept: its drawing is Python's
        app.setStyle(self._style)
        app.styleHints().colorSchemeChanged.connect(self._follow)

    @property
    def name(self) -> str:
        """The palette in use: ``light`` or ``dark``."""
        if self._wanted != "system":
            return self._wanted
        scheme = self._app.styleHints().colorScheme()
        return "dark" if scheme == Qt.ColorScheme.Dark else "light"

    def use(self, wanted: str, font_size: int) -> None:
        """Show ``light``, ``dark`` or what the ``system`` has, in a text size in points."""
        self._wanted = wanted
        schemes = {"light": Qt.ColorScheme.Light, "dark": Qt.ColorScheme.Dark}
        # Also tells the system's window frame; Unknown means "as the system has it".
        self._app.styleHints().setColorScheme(schemes.get(wanted, Qt.ColorScheme.Unknown))
        font = tabular(QFont(self._family) if self._family else self._app.font())
        font.setPointSize(font_size)
        if font != self._app.font():
            self._app.setFont(font)
        self._follow()

    def show_values(self, choices: Choices) -> None:
        """Show values with another colour map or other decimals."""
        if choose(choices):
            self._tell(QEvent.Type.PaletteChange)  # what draws values listens to it

    def use_gloves(self, wanted: bool) -> None:
        """Make every control large enough for gloves, or as it was."""
        if wanted != self._style.for_gloves:
            self._style.use_gloves(wanted)
            self._tell(QEvent.Type.StyleChange)

    def _tell(self, kind: QEvent.Type) -> None:
        for widget in self._app.allWidgets():
            self._app.sendEvent(widget, QEvent(kind))
            widget.updateGeometry()
            widget.update()

    def _follow(self) -> None:
        self._app.setPalette(palette(self.name))
