"""The page of a work area that is still to come: what it will do and what can be done now."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QTextBrowser, QVBoxLayout, QWidget

CAUTIONS = (
    "This is a desk aid. Its results do not replace tests with the vehicle.",
    "No table is safe because a check here found nothing.",
    "Try changes out on a closed course, with trained drivers, and with a way back.",
    "The functional-safety process of the vehicle (ISO 26262) decides what may be released.",
    "Local codes and the judgement of licensed practitioners come first.",
)


class PlainPage(QWidget):
    """Text only: nothing on it pretends to work."""

    def __init__(
        self, title: str, coming: str, now: tuple[tuple[str, str], ...], parent: QWidget
    ) -> None:
        super().__init__(parent)
        self.text = QTextBrowser()
        self.text.setFrameShape(QFrame.Shape.NoFrame)
        self.text.setAccessibleName(f"About the work area {title}")
        self.text.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.text.document().setDocumentMargin(24)
        self.text.setHtml(page_html(title, coming, now))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.text)
        self.setFocusProxy(self.text)


def page_html(title: str, coming: str, now: tuple[tuple[str, str], ...]) -> str:
    """Return the page's text; the size follows the application's font."""
    items = "".join(
        f"<li style='margin-bottom:6px'>{escape(what)}"
        + (f"<br><code>{escape(command)}</code>" if command else "")
        + "</li>"
        for what, command in now
    )
    return (
        f"<h2>{escape(title)}</h2><p><b>Still to come.</b> {escape(coming)}</p>"
        f"<h3>What can be done now</h3><ul>{items}</ul>{cautions_html()}"
    )


def cautions_html() -> str:
    """Return the cautions, as every page and the help show them."""
    return "<h3>Cautions</h3><ul>" + "".join(f"<li>{escape(c)}</li>" for c in CAUTIONS) + "</ul>"
