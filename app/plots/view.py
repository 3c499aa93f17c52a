"""What every plot shares: its tie to the desk, one repaint per burst of news, pointer, keys."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from enum import Flag, auto
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QPointF, Qt, QTimer
from PySide6.QtGui import QFocusEvent, QKeyEvent, QShowEvent
from PySide6.QtWidgets import QWidget

from app.colours import Inks, inks
from app.desk import Desk
from app.plots import words
from app.plots.frame import PlotFrame
from app.plots.nudge import merge_key, nudge
from app.plots.trail import Trail, trail_of
from calib_model.core.table import Table
from calib_model.session.document import Event

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

Cell = tuple[int, ...]
Findings = Mapping[Cell, tuple[str, str]]
"""Severity (``error``, ``warning``, ``note``) and sentence, by cell."""


class Part(Flag):
    """What of a plot is out of date."""

    NOTHING = 0
    TABLE = auto()
    """Another table or other axes: everything, and the view fits itself."""
    VALUES = auto()
    OVERLAYS = auto()
    CURSOR = auto()
    SELECTION = auto()
    FINDINGS = auto()
    COLOURS = auto()
    SCALE = auto()
    """Another part is in view."""
    MARKS = auto()
    """What is said of cells, such as how they were driven."""
    TRAIL = auto()
    """The operating point."""
    ALL = (
        TABLE | VALUES | OVERLAYS | CURSOR | SELECTION | FINDINGS | COLOURS | SCALE | MARKS | TRAIL
    )


class PlotView(PlotFrame):
    """A plot of the table in work.

    Parameters
    ----------
    desk : Desk
        Cursor, selection and edits go through it.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.canvas: Canvas | None = None
        self.inks: Inks = inks(self.palette())
        self._findings: dict[Cell, tuple[str, str]] = {}
        self._findings_of = ""
        self.show_saved = True
        self.show_reference = True
        self._drawn: QWidget | None = None
        self._stale = Part.ALL
        self._merge = ""
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self.refresh)

        desk.table_changed.connect(self._on_table)
        desk.edited.connect(self._on_edited)
        desk.cursor_changed.connect(self._on_cursor)
        desk.selection_changed.connect(self._on_selection)
        desk.documents_changed.connect(self._on_overlays)
        desk.proposal_changed.connect(self._on_proposal)
        desk.reference_changed.connect(self._on_overlays)
        desk.driving.cell_marks_changed.connect(self._on_cell_marks)
        desk.driving.play_head_changed.connect(self._on_play_head)

    # -- for whoever owns the view ---------------------------------------------------------------

    def set_findings(self, findings: Findings) -> None:
        """Mark cells of the table in work.

        Parameters
        ----------
        findings : mapping of cell to (severity, sentence)
        """
        table = self.desk.table
        given = {c: f for c, f in findings.items() if table and len(c) == len(table.shape)}
        self._findings_of = table.id if table else ""
        if given != self._findings:
            self._findings = given
            self.mark(Part.FINDINGS | Part.CURSOR)

    @property
    def findings(self) -> dict[Cell, tuple[str, str]]:
        """The findings at cells that the table in work has."""
        table = self.desk.table
        if table is None or table.id != self._findings_of:
            return {}
        shape = table.shape
        return {
            cell: found
            for cell, found in self._findings.items()
            if len(cell) == len(shape) and all(0 <= i < n for i, n in zip(cell, shape, strict=True))
        }

    def set_overlays(self, *, saved: bool, reference: bool) -> None:
        """Choose what else is drawn: the saved state, the reference set's table."""
        if (saved, reference) != (self.show_saved, self.show_reference):
            self.show_saved, self.show_reference = saved, reference
            self.mark(Part.OVERLAYS)

    def fit(self) -> None:
        """Show everything."""
        raise NotImplementedError

    # -- for views -------------------------------------------------------------------------------

    def trail(self, table: Table) -> Trail | None:
        """Return the operating point and the way it came, if the table reads what is known."""
        head = self.desk.driving.play_head
        return trail_of(table, head, self.desk.driving.trail) if head else None

    def mark_words(self, cell: Cell) -> str:
        """Return what the cell marks say of a cell; empty without marks."""
        marks = self.desk.driving.cell_marks
        return marks.words(cell) if marks is not None else ""

    def unfit(self, table: Table | None) -> str:
        """Return why the table cannot be drawn here, in a sentence; empty if it can."""
        raise NotImplementedError

    def shown_plainly(self, table: Table) -> bool:
        """Show a table that needs no canvas; False if it needs one."""
        return False

    def build(self, canvas: Canvas) -> None:
        """Make the items."""
        raise NotImplementedError

    def page_of(self, canvas: Canvas) -> QWidget:
        """Return the widget that stands in the view: the canvas, or what holds it."""
        return canvas

    def redraw(self, table: Table, stale: Part) -> None:
        """Bring what is out of date up to date."""
        raise NotImplementedError

    def describe(self, table: Table) -> str:
        """Return the view's accessible name."""
        raise NotImplementedError

    # -- repainting ------------------------------------------------------------------------------

    def mark(self, part: Part) -> None:
        """Note that a part is out of date; the repaint comes once, after the present burst."""
        self._stale |= part
        if self.isVisible() and not self._timer.isActive():
            # Bringing in pyqtgraph takes a third of a second: let the window appear first.
            first = self.canvas is None and "pyqtgraph" not in sys.modules
            self._timer.start(40 if first else 0)

    def refresh(self) -> None:
        """Repaint what is out of date now."""
        self._timer.stop()
        stale, self._stale = self._stale, Part.NOTHING
        if not stale:
            return
        if stale & Part.TABLE:
            stale = Part.ALL
        table = self.desk.table
        why = self.unfit(table)
        if why or table is None:
            self._show_sentence(why)
            self._stale = Part.TABLE
            return
        if self.shown_plainly(table):
            self.show_read_out(table)
            self.show_note()
            self.setAccessibleName(self.describe(table))
            self._stale = Part.TABLE
            return
        if self.canvas is None:
            self._build()
            stale = Part.ALL
        assert self.canvas is not None
        if stale & Part.COLOURS:
            self.inks = inks(self.palette())
            self.canvas.set_inks(self.inks, self.font())
        assert self._drawn is not None
        self.pages.setCurrentWidget(self._drawn)
        self.redraw(table, stale)
        if stale & (Part.CURSOR | Part.VALUES | Part.FINDINGS | Part.OVERLAYS | Part.MARKS):
            self.show_read_out(table)
        if stale & Part.TABLE:
            self.setAccessibleName(self.describe(table))

    def show_read_out(self, table: Table) -> None:
        """Write what is under the cross-hair."""
        cell = self.desk.cursor
        text = words.read_out(table, cell)
        said = self.mark_words(cell)
        text = f"{text}; {said}" if said else text
        found = self.findings.get(cell)
        if found:
            text = f"{text}.  {found[0].capitalize()}: {found[1]}"
        self.say(text)

    def _build(self) -> None:
        from app.plots.canvas import Canvas

        canvas = Canvas(self)
        canvas.pressed.connect(self._on_pressed)
        canvas.moved.connect(self.on_moved)
        canvas.released.connect(self.on_released)
        canvas.hovered.connect(self.on_hovered)
        canvas.view_changed.connect(self._on_scale)
        canvas.tip_at = self.tip_at
        self._drawn = self.page_of(canvas)
        self.pages.addWidget(self._drawn)
        self.canvas = canvas
        self.build(canvas)

    # -- news from the desk ----------------------------------------------------------------------

    def _on_table(self) -> None:
        self.end_gesture()
        self.mark(Part.TABLE)

    def _on_edited(self, event: Event) -> None:
        table = self.desk.table
        if table is not None and table.id in event.cells:
            self.mark(Part.VALUES)

    def _on_cursor(self) -> None:
        self.mark(Part.CURSOR)

    def _on_selection(self) -> None:
        self.mark(Part.SELECTION)

    def _on_overlays(self) -> None:
        self.mark(Part.OVERLAYS)

    def _on_proposal(self) -> None:
        self.mark(Part.OVERLAYS | Part.VALUES)

    def _on_scale(self) -> None:
        self.mark(Part.SCALE)

    def _on_cell_marks(self) -> None:
        self.mark(Part.MARKS)

    def _on_play_head(self) -> None:
        self.mark(Part.TRAIL)

    # -- pointer and keys ------------------------------------------------------------------------

    def on_pressed(self, at: QPointF, event: object) -> None:
        """Answer a press of the left button."""

    def on_moved(self, at: QPointF, event: object) -> None:
        """Answer a move with the left button down."""

    def on_released(self, at: QPointF, event: object) -> None:
        """Answer the release of the left button."""

    def on_hovered(self, at: QPointF) -> None:
        """Answer a move with no button down."""

    def tip_at(self, at: QPointF) -> str:
        """Return the tip for a place."""
        return ""

    def end_gesture(self) -> None:
        """Let go of whatever is being dragged."""

    def _on_pressed(self, at: QPointF, event: object) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        if self.desk.table is not None:
            self.refresh()  # a press must meet what the desk holds, not what was drawn last
            self.on_pressed(at, event)

    def step_values(self, steps: int, event: QKeyEvent) -> None:
        """Move the selected cells by storage steps; a held key is one undo step."""
        if not event.isAutoRepeat() or not self._merge:
            self._merge = merge_key("keys")
        nudge(self.desk, steps, self._merge)

    # -- Qt --------------------------------------------------------------------------------------

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up on what was missed while hidden."""
        super().showEvent(event)
        self.mark(Part.NOTHING)

    def changeEvent(self, event: QEvent) -> None:
        """Follow the palette and the font."""
        super().changeEvent(event)
        kinds = (QEvent.Type.PaletteChange, QEvent.Type.FontChange, QEvent.Type.StyleChange)
        if event.type() in kinds and hasattr(self, "_timer"):
            self.mark(Part.COLOURS)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """End what merges edits into one step."""
        super().focusOutEvent(event)
        self._merge = ""
