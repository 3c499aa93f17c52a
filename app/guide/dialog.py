"""The guide's window: what one wants to do at the left, how it is done at the right.

It stays open beside the work, and its links run the actions they name.
"""

from __future__ import annotations

from typing import Protocol

from PySide6.QtCore import QEvent, QObject, Qt, QUrl
from PySide6.QtGui import (
    QImage,
    QKeyEvent,
    QResizeEvent,
    QTextCursor,
    QTextDocument,
    QTextImageFormat,
)
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QSplitter,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from app.look.parts import TextLabel

from .pages import SCHEME, GuidePage, find_pages, pages


class Acts(Protocol):
    """What the guide asks of the window's actions."""

    def name_of(self, id: str) -> str:
        """Menu text of an action without its mark."""

    def keys_of(self, id: str) -> str:
        """Its keys."""

    def run(self, id: str) -> str:
        """Run it; returns why not, or an empty text."""


class PageView(QTextBrowser):
    """One page with its picture as wide as there is room."""

    def __init__(self, acts: Acts) -> None:
        super().__init__()
        self._acts = acts
        self._page: GuidePage | None = None
        self.setAccessibleName("Page of the guide")
        self.setOpenLinks(False)
        self.document().setDocumentMargin(16)

    def show_page(self, page: GuidePage) -> None:
        """Show a page from its beginning."""
        self._page = page
        self._fill()

    def _fill(self) -> None:
        page = self._page
        if page is None:
            return
        document = self.document()
        acts = self._acts
        body = page.markdown(lambda id: (acts.name_of(id), acts.keys_of(id)))
        document.setMarkdown(f"## {page.title}\n\n{body}")
        picture = QImage(str(page.picture))
        if not picture.isNull():
            where = QUrl.fromLocalFile(str(page.picture))
            width = min(self.viewport().width() - 48, picture.width())
            # Text documents shrink pictures roughly; this way lettering in them stays legible.
            dots = round(width * self.devicePixelRatioF())
            sharp = picture.scaledToWidth(dots, Qt.TransformationMode.SmoothTransformation)
            document.addResource(QTextDocument.ResourceType.ImageResource, where, sharp)
            shape = QTextImageFormat()
            shape.setName(where.toString())
            shape.setWidth(width)
            shape.setHeight(width * picture.height() / picture.width())
            cursor = QTextCursor(document)
            cursor.movePosition(QTextCursor.MoveOperation.End)
            cursor.insertBlock()
            cursor.insertImage(shape)
        self.moveCursor(QTextCursor.MoveOperation.Start)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if event.oldSize().width() != event.size().width():
            self._fill()


class GuideDialog(QDialog):
    """Search, the pages found, and the page in work.

    Parameters
    ----------
    acts : Acts
    parent : QWidget
    """

    def __init__(self, acts: Acts, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle("Guide")
        self._acts = acts
        self._shown: list[GuidePage] = []
        self.line = QLineEdit()
        self.line.setPlaceholderText("What do you want to do?")
        self.line.setAccessibleName("Search the guide")
        self.line.setClearButtonEnabled(True)
        self.line.installEventFilter(self)
        self.list = QListWidget()
        self.list.setAccessibleName("Pages of the guide")
        self.list.setMinimumWidth(220)
        self.list.setSpacing(2)
        self.view = PageView(acts)
        self.view.anchorClicked.connect(self._follow)
        self.told = TextLabel("", second=True)
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.line)
        column.addWidget(self.list, 1)
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view, 1)
        column.addWidget(self.told)
        split = QSplitter()
        split.addWidget(left)
        split.addWidget(right)
        split.setStretchFactor(1, 1)
        split.setSizes([280, 620])
        split.setChildrenCollapsible(False)
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 8, 8, 8)
        row.addWidget(split)
        self.line.textChanged.connect(self._narrow)
        self.list.currentRowChanged.connect(self._show)
        self.resize(min(960, parent.width() - 20), min(680, parent.height() - 20))
        self._narrow("")
        self.line.setFocus()

    def _narrow(self, typed: str) -> None:
        self._shown = find_pages(pages(), typed)
        self.list.clear()
        self.list.addItems([page.title for page in self._shown])
        self.list.setCurrentRow(0 if self._shown else -1)
        self.told.setText("" if self._shown else "No page holds all these words. Try fewer.")

    def _show(self, row: int) -> None:
        if 0 <= row < len(self._shown):
            self.view.show_page(self._shown[row])
            self.told.setText("")

    def _follow(self, link: QUrl) -> None:
        if link.scheme() == SCHEME:
            self.told.setText(self._acts.run(link.path()))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Up and Down walk the list while one types."""
        steps: dict[int, int] = {Qt.Key.Key_Down: 1, Qt.Key.Key_Up: -1}
        if (
            watched is self.line
            and isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.KeyPress
            and event.key() in steps
        ):
            row = self.list.currentRow() + steps[event.key()]
            self.list.setCurrentRow(min(max(row, 0), self.list.count() - 1))
            return True
        return super().eventFilter(watched, event)
