"""Text in the window is plain text: nothing that a file says is read as markup.

Qt guesses whether the text of a label or a tool tip is rich text.  A name such as
``<img src="...">`` would then open that file or reach for that address.  So every label is a
`PlainLabel` (or, where the markup is our own and all else is escaped, a `RichLabel`), and every
tool tip and question whose text is not written down in the code goes through `plain_tip`.
"""

from __future__ import annotations

from html import escape
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import Qt as GuiQt
from PySide6.QtWidgets import QLabel, QWidget

from calib_model.foreign_text import plain_line, plain_lines


class PlainLabel(QLabel):
    """A label that shows its text as it is, control characters spelt out.

    Parameters
    ----------
    text : str or QWidget or None
        As for `QLabel`: the text, or the parent where there is none yet.
    parent : QWidget, optional
    """

    def __init__(self, text: str | QWidget | None = "", parent: QWidget | None = None) -> None:
        super().__init__(parent if isinstance(text, str) else text)
        self.setTextFormat(Qt.TextFormat.PlainText)
        if isinstance(text, str) and text:
            self.setText(text)

    def setText(self, text: str) -> None:
        """Show a text as it is."""
        super().setText(plain_lines(text))


class RichLabel(QLabel):
    """A label whose markup is our own; whoever sets its text escapes what is not."""

    def __init__(self, text: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setTextFormat(Qt.TextFormat.RichText)
        self.setText(text)

    def setText(self, text: str) -> None:
        """Show markup; control characters are spelt out."""
        super().setText(plain_lines(text))


def cut_line(text: str, most: int = 60) -> str:
    """Return a text for one line, its middle left out where it is longer than `most`."""
    said = plain_line(text)
    if len(said) <= most:
        return said
    return f"{said[: most // 2]}…{said[len(said) - (most - most // 2 - 1) :]}"


def plain_tip(text: Any) -> str:
    """Return a text that Qt shows as it is wherever it guesses: in tool tips and message boxes."""
    said = plain_lines(str(text or ""))
    if not GuiQt.mightBeRichText(said):
        return said
    return f"<p style='white-space:pre-wrap'>{escape(said)}</p>"
