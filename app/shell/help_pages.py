"""Pages of the Help menu: keys, cautions, about."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QLineEdit,
    QTableWidget,
    QTableWidgetItem,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from calib_model.cautions import as_html

from .actions import ActionBook, plain_text
from .settings import config_folder

CHANGES = Path(__file__).resolve().parents[2] / "assets" / "CHANGES.md"
CELL_KEYS = (
    ("Type a number", "Replace the value of the cell"),
    ("F2", "Edit the value of the cell"),
    ("Esc", "Leave the value as it was"),
    ("Enter, Shift+Enter", "Take the value and go down, or up"),
    ("Tab, Shift+Tab", "Take the value and go right, or left; leave the grid at its edge"),
    ("Arrow keys", "Go to a neighbouring cell"),
    ("Ctrl+arrow keys", "Jump to the edge"),
    ("Shift with any of these", "Extend the selection"),
    ("Ctrl+Enter", "Put the typed value into every selected cell"),
)
"""Keys of the grid itself, which belong to no menu."""


class PageDialog(QDialog):
    """A dialog with one page and a Close button."""

    def __init__(self, title: str, parent: QWidget, width: int, height: int) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.column = QVBoxLayout(self)
        self.buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        self.buttons.rejected.connect(self.reject)
        self.column.addWidget(self.buttons)
        self.resize(min(width, parent.width() - 20), min(height, parent.height() - 20))

    def put(self, widget: QWidget) -> None:
        """Add a widget above the button."""
        self.column.insertWidget(self.column.count() - 1, widget)


class KeysDialog(PageDialog):
    """Every action with its menu and keys; typing narrows the list."""

    def __init__(self, book: ActionBook, parent: QWidget) -> None:
        super().__init__("Keys", parent, 820, 640)
        self.line = QLineEdit()
        self.line.setPlaceholderText("Type to narrow the list")
        self.line.setAccessibleName("Narrow the list of keys")
        self.line.setClearButtonEnabled(True)
        self.table = QTableWidget()
        self.table.setAccessibleName("Actions and keys")
        rows = [
            (
                book.keys_of(id),
                plain_text(book.actions[id].text()),
                plain_text(row.menu.lstrip("-")),
            )
            for id, row in book.rows.items()
        ]
        rows += [(keys, what, "In the grid") for keys, what in CELL_KEYS]
        self.table.setColumnCount(3)
        self.table.setRowCount(len(rows))
        self.table.setHorizontalHeaderLabels(["Keys", "What it does", "Where"])
        self.table.verticalHeader().hide()
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setTabKeyNavigation(False)
        for number, row in enumerate(rows):
            for place, text in enumerate(row):
                self.table.setItem(number, place, QTableWidgetItem(text))
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.ResizeToContents)
        self._texts = [" ".join(row).lower() for row in rows]
        self.line.textChanged.connect(self._narrow)
        self.put(self.line)
        self.put(self.table)
        self.line.setFocus()

    def _narrow(self, typed: str) -> None:
        words = typed.lower().split()
        for number, text in enumerate(self._texts):
            self.table.setRowHidden(number, not all(word in text for word in words))


def _browser(html: str, name: str) -> QTextBrowser:
    browser = QTextBrowser()
    browser.setAccessibleName(name)
    browser.setHtml(html)
    return browser


def cautions(parent: QWidget) -> QDialog:
    """Return the dialog with the cautions."""
    dialog = PageDialog("Cautions", parent, 620, 420)
    dialog.put(_browser(as_html(), "Cautions"))
    return dialog


def changes(parent: QWidget) -> QDialog:
    """Return the dialog that says what is new."""
    dialog = PageDialog("What is new", parent, 760, 620)
    browser = _browser("", "What is new")
    browser.setMarkdown(CHANGES.read_text("utf-8"))
    dialog.put(browser)
    return dialog


def about(parent: QWidget) -> QDialog:
    """Return the dialog that says what this is."""
    from importlib.metadata import PackageNotFoundError, version  # late: it takes its time

    try:
        number = version("bitepoint")
    except PackageNotFoundError:  # run from a folder that is not installed
        number = "not installed"
    dialog = PageDialog("About Bitepoint", parent, 620, 420)
    html = (
        f"<h2>Bitepoint</h2><p>Version {number}. A desk editor for driveline calibration tables. "
        "It never writes to a controller.</p>"
        "<p>Free software under the MIT licence. It uses Qt under the LGPL, the typeface Inter "
        "under the OFL and icons of Lucide under the ISC licence; their licences lie in the "
        "folder <code>assets</code>.</p>"
        f"<p>Settings are kept in <code>{config_folder()}</code>.</p>{as_html()}"
    )
    dialog.put(_browser(html, "About Bitepoint"))
    return dialog
