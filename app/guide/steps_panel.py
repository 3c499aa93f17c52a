"""The list of first steps: what is done is ticked, the next one stands out."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QGridLayout, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from app.desk import Desk
from app.look.parts import TextLabel, quiet

from .dialog import Acts
from .first_steps import STEPS, Step

DONE, OPEN = "\N{CHECK MARK}", "\N{WHITE CIRCLE}"


class StepsPanel(QDialog):
    """A small window beside the work.

    Parameters
    ----------
    acts : Acts
    desk : Desk
    ticked : set of str
        Ids of the steps done before.
    keep : callable
        Told the ids of what is done, whenever that changes.
    parent : QWidget
    """

    def __init__(
        self,
        acts: Acts,
        desk: Desk,
        ticked: set[str],
        keep: Callable[[set[str]], None],
        parent: QWidget,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("First steps")
        self._acts, self._desk, self._keep = acts, desk, keep
        self.ticked = set(ticked)
        self._table = self._in_work()
        self.head = TextLabel("", "title")
        self.marks: dict[str, TextLabel] = {}
        self.lines: dict[str, TextLabel] = {}
        rows = QGridLayout()
        rows.setHorizontalSpacing(8)
        rows.setVerticalSpacing(4)
        rows.setColumnStretch(1, 1)
        for number, step in enumerate(STEPS):
            mark = self.marks[step.id] = TextLabel()
            line = self.lines[step.id] = TextLabel(self._text(step))
            line.setWordWrap(True)
            show = quiet(QPushButton("Show me"))
            show.setAccessibleName(f"Show me: {acts.name_of(step.action)}")
            show.clicked.connect(lambda _checked=False, step=step: self._help(step))
            rows.addWidget(mark, number, 0, Qt.AlignmentFlag.AlignVCenter)
            rows.addWidget(line, number, 1)
            rows.addWidget(show, number, 2, Qt.AlignmentFlag.AlignVCenter)
        self.told = TextLabel("", second=True)
        self.told.setWordWrap(True)
        again = quiet(QPushButton("Begin again"))
        again.clicked.connect(self._begin_again)
        foot = QHBoxLayout()
        foot.addWidget(self.told, 1)
        foot.addWidget(again)
        column = QVBoxLayout(self)
        column.setContentsMargins(16, 16, 16, 12)
        column.setSpacing(12)
        column.addWidget(self.head)
        column.addLayout(rows)
        column.addStretch(1)
        column.addLayout(foot)
        desk.edited.connect(self._on_edit)
        desk.table_changed.connect(self._on_table)
        self.resize(min(460, parent.width() - 20), 10)
        self._show()

    def _text(self, step: Step) -> str:
        return step.text.format(keys=self._acts.keys_of(step.action))

    def _show(self) -> None:
        left = [step for step in STEPS if step.id not in self.ticked]
        if left:
            self.head.setText(f"{len(STEPS) - len(left)} of {len(STEPS)} done")
        else:
            self.head.setText("All ten done")
            self.told.setText("The guide (F1) says how everything else is done.")
        for step in STEPS:
            is_done = step.id in self.ticked
            self.marks[step.id].setText(DONE if is_done else OPEN)
            self.lines[step.id].setEnabled(not is_done)
            state = "done" if is_done else "to do"
            self.lines[step.id].setAccessibleName(f"{self._text(step)} ({state})")

    def tick(self, id: str) -> None:
        """Tick a step."""
        if id not in self.ticked:
            self.ticked.add(id)
            self._keep(self.ticked)
            self._show()

    def ran(self, action: str) -> None:
        """Hear which action was run."""
        for step in STEPS:
            if step.done_by == "action" and step.action == action:
                self.tick(step.id)

    def _on_edit(self, _event: object) -> None:
        # What was taken back can be done again; so this tells an edit from an undo.
        document = self._desk.current
        if document is not None and not document.redo_title:
            self._tick_all("edit")

    def _in_work(self) -> tuple[int, str]:
        return id(self._desk.current), self._desk.table.id if self._desk.table else ""

    def _on_table(self) -> None:
        before, after = self._table, self._in_work()
        self._table = after
        # Another set brings another table by itself: nobody looked for that one.
        if all(before) and all(after) and before[0] == after[0] and before != after:
            self._tick_all("table")

    def _tick_all(self, done_by: str) -> None:
        for step in STEPS:
            if step.done_by == done_by:
                self.tick(step.id)

    def _help(self, step: Step) -> None:
        self.told.setText(self._acts.run(step.action))

    def _begin_again(self) -> None:
        self.ticked.clear()
        self._keep(self.ticked)
        self.told.setText("")
        self._show()
