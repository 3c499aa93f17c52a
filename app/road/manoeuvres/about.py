"""What the desk's numbers are, what the model leaves out, and the cautions: one page to read."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from PySide6.QtWidgets import QTextBrowser, QWidget

from calib_model import cautions


class AboutPage(QTextBrowser):
    """The page.

    Parameters
    ----------
    left_out : sequence of str
        Sentences on what the model leaves out.
    """

    def __init__(self, left_out: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("What the model leaves out, and cautions")
        points = "".join(f"<li>{escape(text)}</li>" for text in left_out)
        self.setHtml(
            "<h3>Desk estimates</h3>"
            "<p>All numbers here are desk estimates: they tell which of two sets does better under "
            "equal conditions, not what a vehicle will measure. The vehicle keeps its own truth "
            "(clamp, friction, touch point, heat) from the vehicle file; the set supplies only "
            "what the controller believes.</p>"
            f"<h3>What the model leaves out</h3><ul>{points}</ul>{cautions.as_html()}"
        )
