"""Light and dark: own palettes on the Fusion style, and the bundled font.

Widgets use palette roles only, so that exchanging the palette changes everything.
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QPalette
from PySide6.QtWidgets import QApplication

from .boxes import OutlinedBoxes

FONTS = Path(__file__).resolve().parents[2] / "assets" / "fonts"

_R = QPalette.ColorRole

LIGHT: dict[QPalette.ColorRole, str] = {
    _R.Window: "#eceeef",
    _R.WindowText: "#1a2226",
    _R.Base: "#fbfcfc",
    _R.AlternateBase: "#f1f3f4",
    _R.Text: "#1a2226",
    _R.Button: "#e2e6e8",
    _R.ButtonText: "#1a2226",
    _R.BrightText: "#8f1d14",
    _R.ToolTipBase: "#1f292e",
    _R.ToolTipText: "#f3f5f6",
    _R.PlaceholderText: "#566269",
    _R.Highlight: "#0b6478",
    _R.HighlightedText: "#ffffff",
    _R.Link: "#0a5b8a",
    _R.LinkVisited: "#5b4687",
    _R.Accent: "#0b6478",
    _R.Light: "#ffffff",
    _R.Midlight: "#f4f6f6",
    _R.Mid: "#b3bbbf",
    _R.Dark: "#869196",
    _R.Shadow: "#4d575c",
}
DARK: dict[QPalette.ColorRole, str] = {
    _R.Window: "#22292d",
    _R.WindowText: "#e6eaec",
    _R.Base: "#191f22",
    _R.AlternateBase: "#20272b",
    _R.Text: "#e6eaec",
    _R.Button: "#2f383d",
    _R.ButtonText: "#e6eaec",
    _R.BrightText: "#ffb4a8",
    _R.ToolTipBase: "#e6eaec",
    _R.ToolTipText: "#1a2226",
    _R.PlaceholderText: "#a3afb5",
    _R.Highlight: "#5fc1d4",
    _R.HighlightedText: "#0a1519",
    _R.Link: "#7cc4ee",
    _R.LinkVisited: "#bda8e6",
    _R.Accent: "#5fc1d4",
    _R.Light: "#4a555b",
    _R.Midlight: "#3b454b",
    _R.Mid: "#4d595f",
    _R.Dark: "#12171a",
    _R.Shadow: "#070a0b",
}
DISABLED = {"light": "#6d787e", "dark": "#8a959b"}


def palette(name: str) -> QPalette:
    """Return the palette ``light`` or ``dark``."""
    made = QPalette()
    for role, colour in (DARK if name == "dark" else LIGHT).items():
        made.setColor(role, QColor(colour))
    for role in (_R.WindowText, _R.Text, _R.ButtonText, _R.HighlightedText):
        made.setColor(QPalette.ColorGroup.Disabled, role, QColor(DISABLED[name]))
    grey = made.color(_R.Mid)
    made.setColor(QPalette.ColorGroup.Disabled, _R.Highlight, grey)
    return made


def load_font() -> str:
    """Load the bundled font and return its family; empty if Qt cannot read it."""
    family = ""
    for path in sorted(FONTS.glob("*.ttf"), reverse=True):
        number = QFontDatabase.addApplicationFont(str(path))
        if number >= 0:
            family = QFontDatabase.applicationFontFamilies(number)[0]
    return family


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
        self._style = OutlinedBoxes()  # kept: its drawing is Python's
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
        font = QFont(self._family) if self._family else QFont(self._app.font())
        font.setPointSize(font_size)
        if font != self._app.font():
            self._app.setFont(font)
        self._follow()

    def _follow(self) -> None:
        self._app.setPalette(palette(self.name))
