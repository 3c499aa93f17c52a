"""Which cells of a table matter to a measure: one run per cell, in the background."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QPushButton, QVBoxLayout, QWidget

from app.driving.cells_view import CellsView, axes_words, step_of, unit_words
from app.driving.manoeuvre_words import metrics_of
from app.driving.service import Driving
from app.driving.verdict import number, signed
from app.plain import PlainLabel
from app.plots import words
from app.quiet import QuietCombo
from app.road.manoeuvres.in_tune import Asked, InTune
from app.work.control import Control
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import exact, with_unit
from calib_model.core.table import Table
from calib_model.core.typed_number import parse_number
from calib_model.errors import BitepointError, EditRefused

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.sensitivity import Sensitivity

TELLING = 0.001
"""Share of the largest change below which a change is shown as next to nothing, and not named."""

_SHOW, _HIDE = "Show in Tune", "Hide in Tune"


class SensitivityTab(QWidget):
    """Asks for measure, table and step; shows the change for every cell.

    Signals
    -------
    cell_wanted : str, tuple of int
        A cell is to be seen in Tune.

    Parameters
    ----------
    driving : Driving
    jobs : Jobs
    """

    cell_wanted = Signal(str, tuple)

    def __init__(self, driving: Driving, jobs: Jobs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._driving, self._jobs = driving, jobs
        self._manoeuvre: Manoeuvre | None = None
        self._table: Table | None = None
        self._content: CalibrationSet | None = None
        self.found: Sensitivity | None = None
        self._job: Any = None
        self._step_of = ""
        self._asked: Asked | None = None
        self.measure = QuietCombo()
        self.measure.setAccessibleName("Estimate whose change is wanted")
        self.table = QuietCombo()
        self.table.setAccessibleName("Table whose cells are changed")
        self.table.activated.connect(lambda _i: self._propose_step())
        self.step = QLineEdit()
        self.step.setAccessibleName("Step of each cell")
        self.step.setToolTip("Each cell is raised by this, one at a time; negative lowers it.")
        self.step.setMaximumWidth(90)
        self.step.returnPressed.connect(self.run)
        self.unit = PlainLabel()
        self.button = QPushButton("Drive every cell")
        self.button.setToolTip("Drives the manoeuvre once for every cell that it reads.")
        self.button.clicked.connect(lambda _checked=False: self._on_button())
        self.tune_button = QPushButton(_SHOW)
        self.tune_button.setToolTip(
            "Marks the cells in Tune by their change (T), until an edit makes it out of date."
        )
        self.tune_button.setEnabled(False)
        self.tune_button.clicked.connect(lambda _checked=False: self.toggle_in_tune())
        self._in_tune = InTune(driving)
        self._in_tune.changed.connect(self._on_in_tune)
        for box in (self.measure, self.table):
            box.setSizeAdjustPolicy(
                QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.setMinimumContentsLength(5)
        self.plane = QuietCombo()
        self.plane.setAccessibleName("Where the further axes are cut")
        self.plane.activated.connect(lambda _i: self._show())
        self.plane.hide()
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.cells = CellsView()
        self.cells.taken.connect(self._on_taken)
        self.cells.moved.connect(self._say_cell)
        self.cell = PlainLabel()
        self.cell.setWordWrap(True)
        row = QHBoxLayout()
        row.setSpacing(6)
        for widget, stretch in ((self.measure, 3), (self.table, 4)):
            row.addWidget(widget, stretch)
        below = QHBoxLayout()
        below.setSpacing(6)
        label = PlainLabel("Ce&ll step")
        label.setBuddy(self.step)
        for widget_ in (label, self.step, self.unit):
            below.addWidget(widget_)
        below.addStretch(1)
        below.addWidget(self.tune_button)
        below.addWidget(self.button)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 6, 6, 4)
        column.setSpacing(4)
        column.addLayout(row)
        column.addLayout(below)
        column.addWidget(self.words)
        column.addWidget(self.plane)
        column.addWidget(self.cells, 1)
        column.addWidget(self.cell)
        self._say()

    def show_manoeuvre(self, manoeuvre: Manoeuvre | None) -> None:
        """Offer the measures of another manoeuvre."""
        if manoeuvre == self._manoeuvre:
            return
        self._manoeuvre = manoeuvre
        self.measure.clear()
        for measure in metrics_of(manoeuvre) if manoeuvre is not None else ():
            self.measure.addItem(words.titled(measure.label, measure.unit), measure.name)
        self._forget()

    def show_set(self, content: CalibrationSet | None, table_id: str) -> None:
        """Offer the tables of a set that play a part, the one in work first chosen."""
        before = self.table.currentData()
        tables = [t for t in (content.tables.values() if content else ()) if t.role]
        listed = [(t.label, t.id) for t in tables]
        had = [(self.table.itemText(i), self.table.itemData(i)) for i in range(self.table.count())]
        if listed != had:
            self.table.clear()
            for label, id in listed:
                self.table.addItem(label, id)
        ids = [id for _, id in listed]
        wanted = table_id if table_id in ids else before if before in ids else ""
        self.table.setCurrentIndex(ids.index(wanted) if wanted else min(0, len(ids) - 1))
        if content is not self._content:
            self._content = content
            if self.found is not None:
                self._say()
        self._propose_step()

    def _propose_step(self) -> None:
        table = self.chosen_table
        if table is not None and table.id != self._step_of:
            self._step_of = table.id
            self.step.setText(exact(step_of(table)))
            self.unit.setText(unit_words(table))

    @property
    def chosen_table(self) -> Table | None:
        """The table whose cells are changed, as it is now."""
        id = self.table.currentData()
        return self._content.tables.get(id) if self._content is not None and id else None

    # -- driving ---------------------------------------------------------------------------------

    def _on_button(self) -> None:
        if self._job is not None:
            self._job.cancel()
        else:
            self.run()

    def run(self) -> None:
        """Drive every cell."""
        table, manoeuvre, driving = self.chosen_table, self._manoeuvre, self._driving
        measure = self.measure.currentData()
        if self._job is not None:
            return
        try:
            if table is None or manoeuvre is None or not measure:
                raise EditRefused("There is nothing to drive.", "Choose a manoeuvre and a table.")
            step = parse_number(self.step.text())
            if not step:
                raise EditRefused("A step of nothing changes nothing.", "Enter another.")
            if driving.state != "ready":
                raise EditRefused("The simulation is not ready.", "Wait a moment.")
        except BitepointError as error:
            self.words.setText(f"\N{WARNING SIGN} {error}")
            return
        content = self._content
        self._forget()
        self._asked = Asked(content, manoeuvre, driving.vehicle)
        self._table = table
        self.button.setText("Cancel")
        self.words.setText("Driving once for every cell that the manoeuvre reads…")
        self._job = self._jobs.start(
            f"Sensitivity to {table.label}",
            _run,
            driving.model,
            (content, manoeuvre.id, driving.vehicle, measure, table.id, step),
            done=self._take,
            failed=self._failed,
            cancellable=True,
        )
        self._job.ended.connect(self._ended)

    def _take(self, found: Sensitivity) -> None:
        self.found = found
        self.tune_button.setEnabled(True)
        table = self._table
        self.plane.clear()
        self.plane.setVisible(table is not None and len(table.axes) > 2)
        if table is not None and len(table.axes) > 2:
            for further, text in _planes(table):
                self.plane.addItem(text, further)
            most = found.most(1)
            if most:
                self.plane.setCurrentIndex(
                    max(0, [f for f, _ in _planes(table)].index(most[0][0][:-2]))
                )
        self._show()
        self._say()

    def _failed(self, error: BitepointError) -> None:
        self.words.setText(f"\N{WARNING SIGN} {error}")

    def _ended(self) -> None:
        if self._job is not None and self._job.state == "cancelled":
            self.words.setText("Given up; nothing is shown.")
        self._job = None
        self.button.setText("Drive every cell")

    def _forget(self) -> None:
        self.found = None
        self.tune_button.setEnabled(False)
        self._in_tune.clear()
        self.cells.show_found(None, None)
        self.plane.hide()
        self._say()

    def _show(self) -> None:
        further = self.plane.currentData() or ()
        self.cells.show_found(self._table, self.found, tuple(further))

    def _say(self) -> None:
        found, table = self.found, self._table
        if found is None or table is None:
            self.words.setText(
                "Shows by how much an estimate changes when each cell takes a step, one at a time: "
                "which cells matter for this manoeuvre, and by how much."
            )
            self.cell.setText("")
            return
        least = TELLING * float(np.abs(np.nan_to_num(found.change)).max(initial=0.0))
        most = [(cell, change) for cell, change in found.most(3) if abs(change) >= least]
        step = with_unit(found.step, table.unit)
        count = int(((found.change != 0) & (np.abs(found.change) >= least)).sum())
        text = (
            f"{found.metric.label} is {number(found.base, found.metric.unit)}; each cell of "
            f"{table.label} changed by {step}: {count} of {found.change.size} cells change it."
        )
        if most:
            named = [f"{words.place(table, c)} {signed(v, found.metric.unit)}" for c, v in most]
            text += f" Most: {'; '.join(named)}."
        if found.why:
            text += f" {len(found.why)} runs gave no number (?)."
        if not found.complete:
            text += " It was given up before the end."
        current = self._content.tables.get(table.id) if self._content is not None else None
        if current is not table:
            text += " The table was edited since."
        self.words.setText(f"{text} {axes_words(table)} · was never read; Enter opens a cell.")
        self._say_cell()

    def _say_cell(self) -> None:
        self.cell.setText(self.cells.current_sentence())

    def _on_taken(self, cell: tuple[int, ...]) -> None:
        if self._table is not None:
            self.cell_wanted.emit(self._table.id, cell)

    # -- over the cells in Tune ------------------------------------------------------------------

    def toggle_in_tune(self) -> None:
        """Mark the cells in Tune by their change, and go there; or take the marks away."""
        if self._in_tune.shown:
            self._in_tune.clear()
        elif self.found is None or self._asked is None or self._table is None:
            self._driving.desk.tell("Drive every cell first (Sensitivity).", refused=True)
        elif self._in_tune.show(self.found, self._asked, self._table):
            self.cell_wanted.emit(self._table.id, self.cells.current_cell)

    @property
    def is_in_tune(self) -> bool:
        """Whether the cells in Tune are marked."""
        return self._in_tune.shown

    def _on_in_tune(self) -> None:
        self.tune_button.setText(_HIDE if self._in_tune.shown else _SHOW)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """T marks the cells in Tune, or takes the marks away."""
        if event.key() == Qt.Key.Key_T and not event.modifiers():
            self.toggle_in_tune()
        else:
            super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on."""
        super().focusInEvent(event)
        (self.cells if self.found is not None else self.measure).setFocus()


def _planes(table: Table) -> list[tuple[tuple[int, ...], str]]:
    """Return the places where the axes before the last two can be cut, with words."""
    further = table.axes[:-2]
    places = itertools.product(*(range(len(axis)) for axis in further))
    return [
        (
            place,
            ", ".join(
                f"{axis.label} {with_unit(float(axis.values[i]), axis.unit)}"
                for axis, i in zip(further, place, strict=True)
            ),
        )
        for place in places
    ]


def _run(control: Control, model: Any, question: tuple[Any, ...]) -> Sensitivity:
    found: Sensitivity = model.sensitivity(control, *question)
    return found
