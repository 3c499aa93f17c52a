"""Rules that the present shape of the table suggests, each with what it rests on."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.parts import TextLabel, primary
from app.look.tokens import NEAR, TIGHT
from app.plain import plain_tip
from calib_model.editing.rule_changes import set_rules
from calib_model.rules.suggested import SuggestedRule, suggest_rules


class RuleSuggestions(QWidget):
    """A list to choose from; nothing is chosen to begin with.

    Parameters
    ----------
    desk : Desk

    Signals
    -------
    left
        Done with, whether or not something was kept.
    """

    left = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._found: tuple[SuggestedRule, ...] = ()
        heading = TextLabel("Suggested by the present shape", "title")
        heading.setWordWrap(True)
        self.note = TextLabel(second=True)
        self.note.setWordWrap(True)
        self.list = QListWidget()
        self.list.setAccessibleName("Suggested rules")
        self.list.setWordWrap(True)
        self.list.setSpacing(TIGHT)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.itemChanged.connect(lambda _item: self._follow())
        self.keep = primary(QPushButton("&Keep the chosen"))
        self.keep.setToolTip("Add the chosen rules to the table; one undo step.")
        self.keep.clicked.connect(lambda _checked=False: self.accept())
        cancel = QPushButton("Leave them")
        cancel.setToolTip("Back to the rules; nothing is changed.")
        cancel.clicked.connect(lambda _checked=False: self.left.emit())
        acts = QHBoxLayout()
        acts.addStretch(1)
        acts.addWidget(cancel)
        acts.addWidget(self.keep)
        column = QVBoxLayout(self)
        column.setContentsMargins(NEAR, NEAR, NEAR, NEAR)
        column.setSpacing(NEAR)
        column.addWidget(heading)
        column.addWidget(self.note)
        column.addWidget(self.list, 1)
        column.addLayout(acts)

    def begin(self) -> None:
        """Look at the table in work."""
        document, table = self._desk.current, self._desk.table
        if document is None or table is None:
            return
        self._found = suggest_rules(document.content, (table.id,))
        self.list.clear()
        for one in self._found:
            item = QListWidgetItem(f"{one.question}\n{one.evidence[:1].upper()}{one.evidence[1:]}.")
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            item.setCheckState(Qt.CheckState.Unchecked)
            item.setToolTip(plain_tip(item.text()))
            self.list.addItem(item)
        self.note.setText(
            "The values are so now; whether they must stay so is for you to say. Space chooses."
            if self._found
            else "The shape suggests no rule that the table does not state already."
        )
        self.list.setVisible(bool(self._found))
        self.list.setCurrentRow(0)
        self._follow()
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _chosen(self) -> list[SuggestedRule]:
        checked = Qt.CheckState.Checked
        rows = range(self.list.count())
        return [self._found[n] for n in rows if self.list.item(n).checkState() == checked]

    def _follow(self) -> None:
        self.keep.setEnabled(bool(self._chosen()))

    def accept(self) -> None:
        """Keep the chosen rules."""
        document, table, chosen = self._desk.current, self._desk.table, self._chosen()
        if document is None or table is None or not chosen:
            return
        what = "the rule" if len(chosen) == 1 else f"{len(chosen)} rules"
        rules = {table.id: [one.rule for one in chosen]}
        title = f"Keep {what} that the shape of {table.label} suggests"
        if self._desk.do(lambda: set_rules(document.content, rules, title)):
            self.left.emit()
