"""The side tab Shape: choose a tool, see its proposal over the present values, apply it."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFormLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.company_in_use import sets_against
from app.desk import Desk
from app.plain import PlainLabel
from app.quiet import QuietCombo
from app.tune.proposal_banner import ProposalBanner
from app.work.latest import Latest
from calib_model.core.arrays import BoolArray
from calib_model.errors import BitepointError

from .fields import Field, FieldWidget
from .outcome import remarks, words
from .tool import Asking, Question, Tool, selected_cells
from .tools import TOOLS

if TYPE_CHECKING:
    from calib_model.shaping import Proposal

PAUSE = 60
"""Milliseconds between the last change of a field and the next proposal."""
_OF_ALL = ("axis", "cells")
"""What is chosen for one tool and goes for the next as well."""


class ShapePanel(QWidget):
    """Shaping tools for the table in work.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._shown = False
        self._applying = False
        self._asked_cells: BoolArray | None = None
        self.proposal: Proposal | None = None
        self.choice = QuietCombo()
        self.choice.setAccessibleName("Shaping tool")
        for tool in TOOLS:
            self.choice.addItem(tool.name)
        self.choice.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.choice.activated.connect(self._on_tool)
        self.about = _wrapped()
        self._form_place = QWidget()
        self._form = QFormLayout(self._form_place)
        self._form.setContentsMargins(0, 0, 0, 0)
        self._form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.fields: dict[str, FieldWidget] = {}
        self._entered_in: dict[str, dict[str, Any]] = {tool.id: {} for tool in TOOLS}
        self._fields_of = ""
        """The tool whose fields are shown."""
        self._layout: tuple[Field, ...] = ()
        self.outcome = _wrapped()
        self.outcome.setAccessibleName("What the tool proposes")
        self.outcome.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.outcome.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        inside = QWidget()
        inner = QVBoxLayout(inside)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.addWidget(self.about)
        inner.addWidget(self._form_place)
        inner.addWidget(self.outcome, 1)
        scroll.setWidget(inside)
        self._scroll = scroll
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.run_button = QPushButton("Wor&k out")
        self.banner = ProposalBanner(desk)
        """The proposal's own acts; the page stands it beside the values."""
        self.apply_button, self.drop_button = self.banner.take, self.banner.leave
        self.run_button.setToolTip("Work out the proposal.")
        self.run_button.clicked.connect(self.ask)
        self.apply_button.clicked.connect(self.apply)
        self.drop_button.clicked.connect(self.drop)
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 8, 8, 8)
        column.addWidget(self.choice)
        column.addWidget(scroll, 1)
        self.report_button = QPushButton("Save report…")
        self.report_button.setToolTip("Write residuals, coverage and outliers as a page (HTML).")
        self.report_button.clicked.connect(self.save_report)
        self.report_button.hide()
        column.addWidget(self.report_button)
        column.addWidget(self.run_button)
        column.addWidget(self.banner)
        self._latest = Latest(self, self._take, lambda error: self.outcome.setText(str(error)))
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(PAUSE)
        self._later.timeout.connect(self.ask)
        desk.table_changed.connect(self._on_table)
        desk.edited.connect(self._on_edited)
        desk.selection_changed.connect(self._on_selection)
        desk.reference_changed.connect(self._on_edited)
        self._show_tool()

    # -- choosing ------------------------------------------------------------------------------

    @property
    def tool(self) -> Tool:
        """The tool that is chosen."""
        return TOOLS[self.choice.currentIndex()]

    def choose(self, tool_id: str) -> None:
        """Choose a tool by its id."""
        self.choice.setCurrentIndex([tool.id for tool in TOOLS].index(tool_id))
        self._on_tool()

    def set_in_sight(self, shown: bool) -> None:
        """Say whether the panel is in sight; only then does it work and propose."""
        if shown == self._shown:
            return
        self._shown = shown
        if shown:
            self._changed()
        else:
            self.drop()

    def _on_tool(self, _index: int = 0) -> None:
        self._show_tool()
        self._changed()

    def _on_table(self) -> None:
        self._show_tool()
        self._changed()

    def _on_edited(self, _event: object = None) -> None:
        self._changed()

    def _on_selection(self) -> None:
        widget = self.fields.get("cells")
        if widget is None or widget.value != "selected":
            return
        now, asked = self._selected(), self._asked_cells
        if now is None or asked is None:
            same = now is asked
        else:
            same = np.array_equal(now, asked)
        if not same:
            self._changed()

    def _selected(self) -> BoolArray | None:
        """The selection if it holds several cells; one alone is where the cursor stands."""
        chosen = self._desk.selection
        return chosen.copy() if int(np.count_nonzero(chosen)) > 1 else None

    def _show_tool(self) -> None:
        """Make the fields of the tool for the table in work; what was entered stays."""
        self._keep_entered()
        before = self._take_fields()
        self.about.setText(self.tool.about)
        self.run_button.setVisible(not self.tool.live)
        self._layout, self._fields_of = self._wanted(), self.tool.id
        folder = str(self._folder)
        for field in self._layout:
            widget = before.get(field.key)
            if widget is None or _form(widget.field) != _form(field):
                widget = FieldWidget(field, self._changed)
                if field.key in self._entered:
                    # What was entered for another table may not be among this one's options.
                    with contextlib.suppress(ValueError, IndexError, TypeError):
                        widget.set_value(self._entered[field.key])
            widget.folder = folder
            self._form.addRow(field.label, widget)
            label = self._form.labelForField(widget)
            if isinstance(label, QLabel):  # the label's key does not pass on to a focus proxy
                label.setBuddy(widget.main)
            self.fields[field.key] = widget
        for key, widget in before.items():
            if self.fields.get(key) is not widget:
                widget.hide()
                widget.deleteLater()  # not at once: it may be the one that says so
        self._show_rows()

    @property
    def _folder(self) -> Path:
        """Where the set lies, and most likely what belongs to it."""
        current = self._desk.current
        return current.path.parent if current is not None and current.path else Path.home()

    def _take_fields(self) -> dict[str, FieldWidget]:
        """Empty the form; the fields live on, one of them may have the keyboard."""
        before, self.fields = self.fields, {}
        while self._form.rowCount():
            row = self._form.takeRow(0)
            label = row.labelItem.widget() if row.labelItem is not None else None
            if label is not None:
                label.hide()
                label.deleteLater()
        return before

    def _wanted(self) -> tuple[Field, ...]:
        """The fields that the tool asks for now."""
        table, current = self._desk.table, self._desk.current
        if table is None or current is None or self.tool.suits(table):
            return ()
        return self.tool.fields(Asking(current.content, table, self._entered))

    @property
    def _entered(self) -> dict[str, Any]:
        """What is entered for the tool that is chosen, by field."""
        return self._entered_in[self.tool.id]

    def _keep_entered(self) -> None:
        kept = {key: _quiet(widget) for key, widget in self.fields.items()}
        if self._fields_of:
            self._entered_in[self._fields_of].update(kept)
        self._entered.update({key: kept[key] for key in _OF_ALL if key in kept})

    def _show_rows(self) -> None:
        values = {key: _quiet(widget) for key, widget in self.fields.items()}
        for widget in self.fields.values():
            when = widget.field.when
            self._form.setRowVisible(widget, when is None or when(values))

    # -- proposing -----------------------------------------------------------------------------

    def _changed(self) -> None:
        self._keep_entered()
        if [_form(f) for f in self._wanted()] != [_form(f) for f in self._layout]:
            self._show_tool()  # the file or the axis that was chosen asks for other fields
        self._show_rows()
        self._forget()
        self.run_button.setVisible(self._applying or not self.tool.live)
        if self._applying:
            # Smoothing what was just smoothed would go on for ever: the next step is the user's.
            self._later.stop()
            self.outcome.setText("Taken. Change a field, or Work out, to propose again.")
        elif self._shown and self.tool.live:
            self._later.start()
        else:
            self.outcome.setText("" if self.tool.live else "Fill in the fields, then Work out.")

    def ask(self) -> None:
        """Work out the proposal in the background."""
        self._later.stop()
        self._forget()
        desk, table = self._desk, self._desk.table
        if table is None or desk.current is None:
            self.outcome.setText("Open a set and choose a table.")
            return
        unsuited = self.tool.suits(table)
        if unsuited:
            self.outcome.setText(unsuited)
            return
        try:
            settings = {key: widget.value for key, widget in self.fields.items()}
        except BitepointError as error:
            self.outcome.setText(str(error))
            return
        question = Question(
            desk.current.content,
            table.id,
            self._selected(),
            desk.cursor,
            settings,
            sets_against(desk),
        )
        tool = self.tool
        self._asked_cells = question.selection
        self.outcome.setText("Working…")
        self._latest.ask(lambda: (question, _answer(tool, question)))

    def wait(self) -> None:
        """Wait for the proposal that is being worked out."""
        if self._later.isActive():
            self.ask()
        self._latest.wait()

    def _take(self, answer: tuple[Question, Proposal | str]) -> None:
        question, made = answer
        current = self._desk.current
        if current is None or current.content is not question.content:
            return  # the set was edited meanwhile; the next question is on its way
        if isinstance(made, str):
            self.outcome.setText(made)
            return
        self.proposal = made
        chosen = selected_cells(question) if "cells" in question.settings else None
        which = "" if chosen is None else f"Of the {np.count_nonzero(chosen)} selected cells: "
        self.outcome.setText(which + words(made))
        self._desk.propose({id: made.table(id) for id in made.ids}, remarks(made))
        self.report_button.setVisible(bool(getattr(made, "fits", None)))
        if not self.tool.live:  # asked for by a button: the answer comes into sight
            QTimer.singleShot(0, self._show_outcome)

    def _show_outcome(self) -> None:
        bar, top = self._scroll.verticalScrollBar(), self.outcome.y()
        bar.setValue(min(top, bar.maximum()))

    def _forget(self) -> None:
        self._latest.forget()
        self.report_button.hide()
        self.proposal = None
        self._desk.propose(None)

    # -- applying ------------------------------------------------------------------------------

    def apply(self) -> None:
        """Make the proposed values the table's, as one undo step."""
        self.wait()
        made = self.proposal
        if made is None:
            self._desk.tell("There is no proposal to take.", refused=True)
            return
        self._applying = True
        try:
            self._desk.do(made.change())
        finally:
            self._applying = False

    def drop(self) -> None:
        """Leave the table as it is and show no proposal."""
        self._later.stop()
        self._forget()
        self.outcome.setText("Nothing is proposed.")

    def save_report(self) -> None:
        """Write the report page of a fit to a file that the user names."""
        made = self.proposal
        if made is None or self._desk.table is None:
            return
        name, _ = QFileDialog.getSaveFileName(
            self,
            "Save report",
            str(self._folder / f"{self._desk.table.id}_fit.html"),
            "Pages (*.html)",
        )
        if not name:
            return
        from calib_model.errors import SaveFailed
        from calib_model.reports.fit_report import fit_report
        from calib_model.store import write_whole

        try:
            write_whole(Path(name), fit_report(made))  # type: ignore[arg-type]
        except SaveFailed as error:
            self._desk.tell(str(error), refused=True)
        else:
            self._desk.tell(f"The report is written to {name}.")


def _form(field: Field) -> tuple[object, ...]:
    """What makes a field look as it does."""
    return field.key, field.label, field.kind, field.options, field.option


def _answer(tool: Tool, question: Question) -> Proposal | str:
    """Return a proposal, or in words why there is none."""
    from calib_model.shaping import AtOdds, explain

    try:
        return tool.make(question)
    except AtOdds as error:
        conflict = explain(error.system)
        return conflict.text if conflict is not None else str(error)
    except BitepointError as error:
        return str(error)


def _quiet(widget: FieldWidget) -> object:
    try:
        return widget.value
    except BitepointError:
        return None


def _wrapped() -> QLabel:
    label = PlainLabel()
    label.setWordWrap(True)
    return label
