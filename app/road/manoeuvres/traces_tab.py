"""The tab Traces: the runs of a manoeuvre over time, and what of them is drawn."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QMenu, QToolButton, QVBoxLayout, QWidget

from app.driving.channels import ROWS, Row, lively, other_rows
from app.driving.looks import Shown
from app.driving.parts import Part, to_draw
from app.driving.shapes import DeskRun
from app.driving.traces import TraceStack
from app.look.icons import icon
from app.look.tokens import NEAR
from app.needs import Memory

_KEY = "driving/rows"


class TracesTab(QWidget):
    """The traces, with a bar above them to choose which runs and which rows are drawn.

    Signals
    -------
    choice_changed
        Other runs or rows are wanted: show them again.
    evidence_wanted
        What the run visited is to be kept in the set.

    Parameters
    ----------
    memory : Memory
        What remembers which rows are drawn.
    """

    choice_changed = Signal()
    evidence_wanted = Signal()

    def __init__(self, memory: Memory, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._memory = memory
        self.shown: list[Shown] = []
        self._choice = set(memory.remembered(_KEY).split())
        """Usual rows that are left out, and others that are drawn, these with a plus."""
        self.traces = TraceStack()
        self.traces.evidence_wanted.connect(self.evidence_wanted)
        self.saved_box = QCheckBox("As save&d")
        self.saved_box.setToolTip("Draws the run of the set as it was last saved, dashed.")
        self.reference_box = QCheckBox("Refere&nce")
        self.reference_box.setToolTip("Draws the run of the reference set, dotted.")
        for box in (self.saved_box, self.reference_box):
            box.setChecked(True)
            box.toggled.connect(lambda _on: self.choice_changed.emit())
        self.rows_button = QToolButton()
        self.rows_button.setText("Tr&aces")
        self.rows_button.setToolTip("Choose which traces are drawn.")
        self.rows_button.setAccessibleName("Which traces are drawn")
        self.rows_button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.rows_button.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.rows_button.setMenu(QMenu(self.rows_button))
        self.rows_button.menu().aboutToShow.connect(self._fill_menu)
        self.evidence_button = QToolButton()
        self.evidence_button.setText("Evidence")
        self.evidence_button.setIcon(icon("circle-check"))
        self.evidence_button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.evidence_button.setToolTip(
            "Keeps in the set which cells this run visited, as evidence of the grade desk only (E)."
        )
        self.evidence_button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.evidence_button.clicked.connect(lambda _checked=False: self.evidence_wanted.emit())
        bar = QHBoxLayout()
        bar.setContentsMargins(6, 2, 6, 0)
        bar.setSpacing(NEAR)
        for widget in (self.saved_box, self.reference_box, self.rows_button):
            bar.addWidget(widget)
        bar.addStretch(1)
        bar.addWidget(self.evidence_button)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(bar)
        column.addWidget(self.traces, 1)
        self.setFocusProxy(self.traces)

    def show_runs(
        self, parts: tuple[Part, ...], runs: Mapping[str, DeskRun], why_none: str
    ) -> None:
        """Draw runs, those that are wanted; in place of none, say why.

        Parameters
        ----------
        parts : tuple of Part
            Whose runs they are.
        runs : mapping of str to DeskRun
            By the name of the part.
        why_none : str
        """
        self.shown = to_draw(
            parts,
            dict(runs),
            saved=self.saved_box.isChecked(),
            reference=self.reference_box.isChecked(),
        )
        self.reference_box.setEnabled(any(p.part == "reference" for p in parts))
        if self.shown:
            self.traces.show_runs(self.shown, self._rows())
        else:
            self.traces.say(why_none)

    def _rows(self) -> tuple[Row, ...]:
        runs = [s.run for s in self.shown]
        usual = tuple(r for r in ROWS if r.id not in self._choice and lively(r, runs))
        extra = tuple(r for r in other_rows(ROWS, runs) if f"+{r.id}" in self._choice)
        return usual + extra

    def _fill_menu(self) -> None:
        menu = self.rows_button.menu()
        menu.clear()
        for row in ROWS:
            self._offer(menu, row, usual=True)
        more = menu.addMenu("&More")
        for row in other_rows(ROWS, [s.run for s in self.shown]):
            self._offer(more, row, usual=False)

    def _offer(self, menu: QMenu, row: Row, *, usual: bool) -> None:
        name = row.id if usual else f"+{row.id}"
        action = menu.addAction(row.title)
        action.setCheckable(True)
        action.setChecked((name in self._choice) != usual)
        action.toggled.connect(lambda on: self._choose(name, kept=on != usual))

    def _choose(self, name: str, *, kept: bool) -> None:
        (self._choice.add if kept else self._choice.discard)(name)
        self._memory.remember(_KEY, " ".join(sorted(self._choice)))
        self.choice_changed.emit()
