"""How the window looks: colours, size of text, the whole screen."""

from __future__ import annotations

from PySide6.QtCore import Qt

from .base import Shell
from .theme import Theme

FIRST_SIZE = 10


class Looks:
    """Changes the looks and keeps them.

    Parameters
    ----------
    window : Shell
    theme : Theme or None
        Without one colours and fonts are left alone.
    """

    def __init__(self, window: Shell, theme: Theme | None) -> None:
        self._window, self._theme = window, theme

    def set_theme(self, name: str) -> None:
        """Use light or dark colours, or the system's."""
        self._window.settings.theme = name
        self._apply()

    def set_font_size(self, step: int) -> None:
        """Make all text larger or smaller by points; 0 is the first size."""
        settings = self._window.settings
        settings.font_size = settings.font_size + step if step else FIRST_SIZE
        self._apply()
        self._window.desk.tell(f"Text size {settings.font_size} points.")

    def _apply(self) -> None:
        settings = self._window.settings
        if self._theme is not None:
            self._theme.use(settings.theme, settings.font_size)
            self._theme.use_gloves(settings.gloves)
            self._theme.show_values(settings.choices)

    def apply(self) -> None:
        """Show what the settings say."""
        self._apply()
        self._window.refresh_soon()

    def toggle_full_screen(self) -> None:
        """Use the whole screen, or go back."""
        self._window.setWindowState(self._window.windowState() ^ Qt.WindowState.WindowFullScreen)
