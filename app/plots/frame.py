"""What stands around a plot: the read-out, what must be known of the drawing, and the key."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QStackedWidget, QVBoxLayout, QWidget

from app.focus_ring import RingedWidget
from app.plain import PlainLabel, plain_tip
from app.plots.legend import Entry, Legend


class OneLine(PlainLabel):
    """A line of text that is elided rather than cut, with the whole text as its tip."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._whole = ""
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    @property
    def whole(self) -> str:
        """The text, not elided."""
        return self._whole

    def show_text(self, text: str) -> None:
        """Show another text."""
        self._whole = text
        self.setAccessibleName(text)
        self._elide()

    def sizeHint(self) -> QSize:
        """One line tall."""
        return QSize(120, QFontMetrics(self.font()).height() + 4)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Elide again."""
        super().resizeEvent(event)
        self._elide()

    def _elide(self) -> None:
        shown = QFontMetrics(self.font()).elidedText(
            self._whole, Qt.TextElideMode.ElideRight, max(self.width() - 2, 40)
        )
        self.setText(shown)
        self.setToolTip(plain_tip(self._whole if shown != self._whole else ""))


class PlotFrame(RingedWidget):
    """Read-out, note and key around the drawing, or a sentence where there is none.

    Signals
    -------
    said
        Read-out, note or key are others.
    """

    said = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._alone = True
        self.read_out = OneLine(self)
        self.note = PlainLabel(self)
        self.note.setWordWrap(True)
        self.note.hide()
        self.legend = Legend(self)
        self.hidden: frozenset[str] = frozenset()
        """Parts that the user took out of the drawing (`Entry.part`)."""
        self.legend.switched.connect(self.show_part)
        self.sentence = PlainLabel(self)
        self.sentence.setWordWrap(True)
        self.sentence.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.sentence.setMargin(12)
        self.pages = QStackedWidget(self)
        self.pages.addWidget(self.sentence)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 3, 4, 3)
        layout.setSpacing(1)
        layout.addWidget(self.read_out)
        layout.addWidget(self.note)
        layout.addWidget(self.pages, 1)
        layout.addWidget(self.legend)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_key(self, entries: Sequence[Entry]) -> None:
        """Show and pass on the key."""
        self.legend.show_entries(entries)
        self.said.emit()

    def show_part(self, part: str, on: bool) -> None:
        """Draw a part that the key names, or take it out."""
        self.hidden = self.hidden - {part} if on else self.hidden | {part}
        self.legend.show_off(self.hidden)
        self.draw_parts()

    def draw_parts(self) -> None:
        """Draw what is not hidden; a plot whose key switches nothing has nothing to do."""

    def say(self, text: str) -> None:
        """Show and pass on a read-out."""
        self.read_out.show_text(text)
        self.setAccessibleDescription(text)
        self.said.emit()

    def show_note(self, *sentences: str) -> None:
        """Write what the reader must know about the drawing; nothing hides the line."""
        text = " ".join(s for s in sentences if s)
        self.note.setText(text)
        self.note.setVisible(bool(text) and self._alone)
        self.said.emit()

    @property
    def stands_alone(self) -> bool:
        """Whether the plot says of itself what it shows; else the page around it does."""
        return self._alone

    def join_panel(self) -> None:
        """Leave read-out, note and key to the panel that the view stands in."""
        self._alone = False
        self.read_out.hide()
        self.note.hide()
        self.legend.hide()

    def _show_sentence(self, text: str) -> None:
        self.sentence.setText(text)
        self.pages.setCurrentWidget(self.sentence)
        self.say("")
        self.show_note()
        self.show_key(())
        self.setAccessibleName(text)
