"""Parts of a page that take turns where there is no room for them side by side."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget


class Turns:
    """Shows all of its parts, or one of them where the page is narrow.

    The page calls `arrange` when its size changes: its own width counts, for a splitter is never
    narrower than its parts ask for.

    Parameters
    ----------
    page : QWidget
    narrow : int
        Below this width of the page the parts take turns.
    *parts : QWidget
        The first is shown first.
    """

    def __init__(self, page: QWidget, narrow: int, *parts: QWidget) -> None:
        self._page, self._narrow, self._parts = page, narrow, parts
        self._turn = parts[0]

    def shows(self, part: QWidget) -> bool:
        """Whether a part is in sight."""
        return part is self._turn or self._page.width() >= self._narrow

    def show(self, part: QWidget) -> None:
        """Bring a part into sight."""
        self._turn = part
        self.arrange()

    def arrange(self) -> None:
        """Show what there is room for."""
        for part in self._parts:
            part.setVisible(self.shows(part))
