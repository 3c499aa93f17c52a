"""What a table becomes, field by field: every guess about it can be changed here."""

from __future__ import annotations

import math

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QLineEdit, QPushButton, QWidget

from app.look.parts import TextLabel
from app.look.tokens import NEAR, TIGHT
from app.plain import PlainLabel, plain_tip
from calib_model.bringing.draft import PROPOSED, Draft
from calib_model.bringing.layout import FileChoice
from calib_model.core.axis import Axis, Interpolation
from calib_model.core.numbers import exact
from calib_model.core.table import MAX_AXES
from calib_model.core.typed_number import parse_number
from calib_model.errors import BitepointError

FOUND_OUT = ("found out", None)
FILE_CHOICES: dict[str, tuple[tuple[str, str | None], ...]] = {
    "decimal": (FOUND_OUT, ("comma", ","), ("point", ".")),
    "separator": (
        FOUND_OUT, ("comma", ","), ("semicolon", ";"), ("tab", "\t"), ("bar", "|"),
    ),
    "encoding": (FOUND_OUT, ("UTF-8", "utf-8"), ("Windows (cp1252)", "cp1252"),
                 ("UTF-16", "utf-16")),
}  # fmt: skip
"""How a text file is read: words, and what is chosen."""
READ = {Interpolation.LINEAR: "linear", Interpolation.STEP: "steps"}


class _Line(QLineEdit):
    """A line of text that tells only of what was typed by hand."""

    changed_to = Signal(str)

    def __init__(self, name: str) -> None:
        super().__init__()
        self._was = ""
        self.setMaxLength(1000)
        self.setAccessibleName(name)
        self.editingFinished.connect(self._told)

    def show_text(self, text: str) -> None:
        """Show what counts now."""
        if text != self.text():
            self.setText(text)
            self.setCursorPosition(0)
        self._was = text

    def _told(self) -> None:
        if self.text() != self._was:
            self._was = self.text()
            self.changed_to.emit(self.text().strip())


class _AxisLine:
    """Name, unit, reading and order of one axis."""

    def __init__(self, form: TableForm, number: int) -> None:
        which = f"axis {number + 1}"
        self.label = PlainLabel(f"Axis {number + 1}")
        self.name, self.unit = _Line(f"Name of {which}"), _Line(f"Unit of {which}")
        self.read = QComboBox()
        self.read.setAccessibleName(f"How {which} is read")
        for kind in Interpolation:
            self.read.addItem(READ.get(kind, str(kind)), str(kind))
        self.labels = _Line(f"Labels of {which}")
        self.labels.setPlaceholderText("labels, such as 0 off, 1 slow")
        self.labels.changed_to.connect(lambda text: form.axis_chosen.emit(number, {"labels": text}))
        self.points = TextLabel("", "small", second=True)
        self.name.changed_to.connect(lambda text: form.axis_chosen.emit(number, {"name": text}))
        self.unit.changed_to.connect(lambda text: form.axis_chosen.emit(number, {"unit": text}))
        self.read.activated.connect(
            lambda _n: form.axis_chosen.emit(number, {"interpolation": self.read.currentData()})
        )

    @property
    def widgets(self) -> tuple[QWidget, ...]:
        """In the order of columns."""
        return self.label, self.name, self.unit, self.labels, self.read, self.points

    def show_axis(self, axis: Axis | None) -> None:
        """Show an axis; None hides the line."""
        for widget in self.widgets:
            widget.setVisible(axis is not None)
        if axis is None:
            return
        self.name.show_text(axis.name)
        self.unit.show_text(axis.unit)
        self.labels.show_text(str(axis.labels) if axis.labels else "")
        self.read.setCurrentIndex(self.read.findData(str(axis.interpolation)))
        low, high = axis.values[0], axis.values[-1]
        said = (
            f"{len(axis.values)}: {axis.said_short(float(low))} to {axis.said_short(float(high))}"
        )
        self.points.setText(said)


class TableForm(QWidget):
    """The fields.

    Signals
    -------
    chosen : dict
        Keys of `calib_model.bringing.layout.TableChoice` with what was chosen.
    axis_chosen : int, dict
        Number of the axis, and keys of `AxisChoice`.
    file_chosen : dict
        Keys of `FileChoice`.
    refused : str
        Why what was typed cannot be used.
    """

    chosen = Signal(dict)
    axis_chosen = Signal(int, dict)
    file_chosen = Signal(dict)
    refused = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(NEAR)
        grid.setVerticalSpacing(TIGHT)
        self.id, self.name = _Line("Id"), _Line("Name")
        self.unit, self.smallest, self.largest = _Line("Unit"), _Line("Smallest"), _Line("Largest")
        for line in (self.smallest, self.largest):
            line.setPlaceholderText("no limit")
        self.storage = QComboBox()
        self.storage.setEditable(True)
        self.storage.setAccessibleName("Storage")
        self.file = {key: QComboBox() for key in FILE_CHOICES}
        for key, box in self.file.items():
            box.setAccessibleName(f"{key.capitalize()} of the file")
            for text, mark in FILE_CHOICES[key]:
                box.addItem(text, mark)
        self.turn = QPushButton("Turn a&xes round")
        self.turn.setAutoDefault(False)
        self.turn.setCheckable(True)
        self.turn.setToolTip("The first axis becomes the last: rows and columns change places.")
        self._put(grid, 0, "&Id", self.id, "Na&me", self.name)
        self._put(grid, 1, "&Unit", self.unit, "S&torage", self.storage)
        self._put(grid, 2, "&Smallest", self.smallest, "Lar&gest", self.largest)
        self._put(grid, 3, "&Decimal mark", self.file["decimal"], "", self.turn)
        self._put(grid, 4, "Se&parator", self.file["separator"], "Encoding", self.file["encoding"])
        self.axes = [_AxisLine(self, number) for number in range(MAX_AXES)]
        inner = QGridLayout()
        inner.setHorizontalSpacing(NEAR)
        inner.setVerticalSpacing(TIGHT)
        for number, axis_line in enumerate(self.axes):
            for column, widget in enumerate(axis_line.widgets):
                inner.addWidget(widget, number, column)
        inner.setColumnStretch(1, 3)
        inner.setColumnStretch(2, 1)
        inner.setColumnStretch(3, 2)
        grid.addLayout(inner, 5, 0, 1, 4)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        self.alike = QCheckBox("For a&ll alike")
        self._connect()

    @staticmethod
    def _put(
        grid: QGridLayout, row: int, left: str, one: QWidget, right: str, other: QWidget
    ) -> None:
        for column, text, widget in ((0, left, one), (2, right, other)):
            label = PlainLabel(text)
            label.setBuddy(widget)
            grid.addWidget(label, row, column)
            grid.addWidget(widget, row, column + 1)

    def _connect(self) -> None:
        for key, line in (("id", self.id), ("name", self.name), ("unit", self.unit)):
            line.changed_to.connect(lambda text, key=key: self.chosen.emit({key: text}))
        for key, line in (("lower", self.smallest), ("upper", self.largest)):
            line.changed_to.connect(lambda text, key=key: self._limit(key, text))
        self.storage.activated.connect(lambda _n: self._stored())
        edit = self.storage.lineEdit()
        assert edit is not None, "it is editable"
        edit.editingFinished.connect(self._stored)
        self.turn.clicked.connect(lambda on: self.chosen.emit({"turned": bool(on)}))
        for key, box in self.file.items():
            box.activated.connect(
                lambda _n, key=key, box=box: self.file_chosen.emit({key: box.currentData()})
            )

    def show_draft(
        self,
        draft: Draft,
        file: FileChoice,
        *,
        turned: bool,
        from_cells: bool,
        is_text: bool,
    ) -> None:
        """Show what a table would become.

        Parameters
        ----------
        draft : Draft
        file : FileChoice
            How its file is read.
        turned : bool
            Whether its axes were turned round.
        from_cells : bool
            Whether it was read from cells, whose numbers have a decimal mark.
        is_text : bool
            Whether these are the cells of a text file.
        """
        table = draft.table
        self.id.show_text("" if table.id == "unnamed" and not draft.found.id else table.id)
        self.name.show_text(table.name)
        self.unit.show_text(table.unit)
        self.smallest.show_text(_limit_text(table.lower))
        self.largest.show_text(_limit_text(table.upper))
        with QSignalBlocker(self.storage):
            now, proposed = str(table.storage), str(draft.storage_proposed)
            self.storage.clear()
            self.storage.addItem(now, now)
            if proposed != now:
                self.storage.addItem(f"{proposed} (proposed)", PROPOSED)
            self.storage.setCurrentIndex(0)
            self.storage.setToolTip(plain_tip(f"The smallest that holds every value: {proposed}."))
        self.turn.setChecked(turned)
        self.turn.setEnabled(len(table.axes) > 1)
        for key, box in self.file.items():
            box.setEnabled(from_cells and (key == "decimal" or is_text))
            box.setCurrentIndex(max(box.findData(getattr(file, key)), 0))
        for number, axis_line in enumerate(self.axes):
            axis_line.show_axis(table.axes[number] if number < len(table.axes) else None)

    def _limit(self, key: str, text: str) -> None:
        value = None  # without a limit of its own, what was understood counts
        if text:
            try:
                value = parse_number(text)
            except BitepointError as error:
                self.refused.emit(f"{error}")
                return
        self.chosen.emit({key: value})

    def _stored(self) -> None:
        typed = self.storage.currentText()
        at = self.storage.findText(typed)
        wanted = self.storage.itemData(at) if at >= 0 else typed
        if wanted != self.storage.itemData(0):
            self.chosen.emit({"storage": wanted})


def _limit_text(value: float) -> str:
    return exact(value) if math.isfinite(value) else ""
