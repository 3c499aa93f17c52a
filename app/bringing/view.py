"""The parts of the page of Bring in and where they stand."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QHBoxLayout,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from app.look.parts import ShortLabel, TextLabel, primary, quiet
from app.look.tokens import APART, NEAR, TIGHT, WIDE
from app.plain import PlainLabel, plain_tip

from .cells import CellsView
from .doubts import DoubtsPanel
from .row_list import OfferList
from .table_form import TableForm

ABOUT = (("programme", "Programme"), ("mode", "Mode"), ("base_mode", "Base mode"))
"""What a new set is called."""


class BringInView(QDialog):
    """The parts; what they do is in `app.bringing.dialog`."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Bring in tables")
        self._build()

    def _build(self) -> None:
        self.source = QLineEdit()
        self.source.setPlaceholderText("A folder, a file, or a pattern such as maps/*.csv")
        self.source.setAccessibleName("Files or folder")
        self.files = _button("Fil&es…", "Choose one or several files.")
        self.folder = _button("Folder…", "Choose a folder; every file of tables in it is read.")
        self.progress = QProgressBar()
        self.progress.setRange(0, 1000)
        self.progress.setTextVisible(False)
        self.progress.setAccessibleName("Reading")
        self.stop = _button("Sto&p", "Give the reading up.")
        self.load = quiet(_button("Load la&yout…", "Use what was chosen for other files before."))
        self.keep = quiet(_button("Save layout…", "Keep what is chosen here as a file, for the "
                                  "next files and for the command line."))  # fmt: skip
        self.target = QComboBox()
        self.target.setAccessibleName("Into")
        self.target.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.target.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.about = {key: QLineEdit() for key, _ in ABOUT}
        self.filter = QLineEdit()
        self.filter.setPlaceholderText("Filter (/)")
        self.filter.setAccessibleName("Filter")
        self.filter.setClearButtonEnabled(True)
        self.doubtful_only = QCheckBox("Doubtful only")
        self.list = OfferList()
        self.summary = TextLabel("", second=True)
        self.summary.setWordWrap(True)
        self.heading = ShortLabel("", "title")
        self.where = ShortLabel("", "small", second=True)
        self.doubts = DoubtsPanel()
        self.form = TableForm()
        self.cells = CellsView()
        self.legend = TextLabel("", "small", second=True)
        self.legend.setWordWrap(True)
        self.legend.setAlignment(Qt.AlignmentFlag.AlignTop)
        for label in (self.heading, self.where):
            label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.told = PlainLabel()
        self.told.setWordWrap(True)
        self.confirm_all = _button("Con&firm all doubtful", "Take them as they were understood.")
        self.by_files = _button(
            "Name by their &files", "Each takes the name of its file as its id."
        )
        self.drop_blocked = _button("Leave out &what cannot be taken", "")
        self.cancel = _button("Cancel", "Nothing is taken.")
        self.act = primary(_button("&Bring in", "Take the tables as one change."))
        column = QVBoxLayout(self)
        column.setContentsMargins(WIDE, APART, WIDE, APART)
        column.setSpacing(NEAR)
        column.addLayout(self._top())
        column.addLayout(self._second())
        column.addWidget(self._middle(), 1)
        column.addLayout(self._bottom())

    def _top(self) -> QHBoxLayout:
        label = PlainLabel("F&rom")
        label.setBuddy(self.source)
        return _line(
            label, (self.source, 1), self.files, self.folder, self.progress, self.stop,
            self.load, self.keep,
        )  # fmt: skip

    def _second(self) -> QHBoxLayout:
        into = PlainLabel("Int&o")
        into.setBuddy(self.target)
        self._about_labels: list[QWidget] = []
        fields: list[Any] = [into, self.target]
        for key, text in ABOUT:
            label = PlainLabel(text)
            label.setBuddy(self.about[key])
            self.about[key].setAccessibleName(text)
            self._about_labels.append(label)
            fields += [label, (self.about[key], 1)]
        row = _line(*fields)
        row.addStretch(0)
        return row

    def _middle(self) -> QWidget:
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, NEAR, 0)
        column.setSpacing(TIGHT)
        column.addLayout(_line((self.filter, 1), self.doubtful_only))
        column.addWidget(self.list, 1)
        column.addWidget(self.summary)
        inner = QWidget()
        inner_column = QVBoxLayout(inner)
        inner_column.setContentsMargins(0, 0, 0, 0)
        inner_column.setSpacing(NEAR)
        inner_column.addWidget(self.doubts)
        inner_column.addWidget(self.form.alike)
        inner_column.addWidget(self.form)
        inner_column.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(NEAR, 0, 0, 0)
        column.setSpacing(TIGHT)
        column.addWidget(self.heading)
        column.addWidget(self.where)
        column.addWidget(scroll, 3)
        column.addWidget(self.legend)
        column.addWidget(self.cells, 2)
        self.details = scroll
        parts = QSplitter(Qt.Orientation.Horizontal)
        parts.addWidget(left)
        parts.addWidget(right)
        parts.setChildrenCollapsible(False)
        parts.setStretchFactor(0, 2)
        parts.setStretchFactor(1, 3)
        parts.setSizes([420, 720])
        return parts

    def _bottom(self) -> QHBoxLayout:
        return _line(
            (self.told, 1),
            self.by_files,
            self.drop_blocked,
            self.confirm_all,
            self.cancel,
            self.act,
        )


def _button(text: str, tip: str) -> QPushButton:
    made = QPushButton(text)
    made.setAutoDefault(False)
    made.setToolTip(plain_tip(tip))
    return made


def _line(*parts: Any) -> QHBoxLayout:
    row = QHBoxLayout()
    row.setSpacing(NEAR)
    for part in parts:
        if isinstance(part, tuple):
            row.addWidget(*part)
        else:
            row.addWidget(part)
    return row
