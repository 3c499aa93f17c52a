"""Which table plays which role: suggested with reasons, confirmed with rules that come along."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.parts import TextLabel, primary
from app.look.tokens import APART, NEAR, TIGHT
from app.plain import plain_tip
from calib_model.core.rule import Rule, stated
from calib_model.editing.change import Change, apply
from calib_model.errors import BitepointError
from calib_model.roles.changes import confirm_roles, with_rules
from calib_model.roles.missing import Readiness, readiness
from calib_model.roles.starting import starting_rules
from calib_model.roles.suggest import Suggestion, Surely, suggest_roles

CHECKED, OPEN = Qt.CheckState.Checked, Qt.CheckState.Unchecked


class RolesDialog(QDialog):
    """Suggestions to choose from; nothing is bound until the button is pressed.

    Parameters
    ----------
    desk : Desk
        Must have a set in work.
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._found: tuple[Suggestion, ...] = ()
        self._rules: list[tuple[str, Rule]] = []
        self._left: set[tuple[str, Rule]] = set()
        self.setWindowTitle("Which table plays which role")
        self.resize(900, 560)
        self.can_do = TextLabel()
        self.can_do.setWordWrap(True)
        self.note = TextLabel(second=True)
        self.note.setWordWrap(True)
        self.suggested = _list("Suggested roles")
        self.suggested.itemChanged.connect(lambda _item: self._follow())
        self.suggested.currentRowChanged.connect(lambda _row: self._explain())
        self.why = TextLabel()
        self.why.setWordWrap(True)
        self.why.setAccessibleName("Reasons for the suggestion")
        self.rules = _list("Rules that come along")
        self.rules.itemChanged.connect(self._on_rule)
        self.abilities = _list("What replay and manoeuvres can do")
        self.sure = QPushButton("Choose all &sure")
        self.sure.setToolTip("Choose every suggestion that is sure.")
        self.sure.clicked.connect(lambda _checked=False: self.choose_sure())
        self.bind = primary(QPushButton("&Bind the chosen"))
        self.bind.setToolTip("Bind tables and axes, with the rules chosen; one undo step.")
        self.bind.clicked.connect(lambda _checked=False: self.confirm())
        close = QPushButton("Close")
        close.clicked.connect(lambda _checked=False: self.reject())
        left = _column(
            (TextLabel("Suggested", "title"), self.note, self.suggested, self.why), self.suggested
        )
        right = _column(
            (
                TextLabel("Rules that come along", "title"),
                self.rules,
                TextLabel("What the set can do now", "title"),
                self.can_do,
                self.abilities,
            ),
            self.rules,
            self.abilities,
        )
        across = QSplitter(Qt.Orientation.Horizontal)
        across.addWidget(left)
        across.addWidget(right)
        acts = QHBoxLayout()
        acts.addWidget(self.sure)
        acts.addStretch(1)
        acts.addWidget(close)
        acts.addWidget(self.bind)
        column = QVBoxLayout(self)
        column.setSpacing(NEAR)
        column.addWidget(across, 1)
        column.addLayout(acts)
        self.look()

    def look(self) -> None:
        """Look at the set as it is now."""
        document = self._desk.current
        if document is None:
            return
        content = document.content
        self._found = suggest_roles(content).roles
        self._left = set()
        self.suggested.blockSignals(True)
        self.suggested.clear()
        for one in self._found:
            item = QListWidgetItem(f"{content[one.table].label}: {one.role} ({one.surely})")
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            item.setCheckState(OPEN)
            item.setToolTip(plain_tip(f"{one.table}. {_reasons(one)}"))
            self.suggested.addItem(item)
        self.suggested.setCurrentRow(0)
        self.suggested.blockSignals(False)
        self.suggested.setVisible(bool(self._found))
        sure = sum(one.surely is Surely.SURE for one in self._found)
        self.note.setText(
            f"{len(self._found)} suggested, {sure} of them sure. Space chooses one."
            if self._found
            else "Nothing is suggested: no table without a role looks like one that is still free."
        )
        self.sure.setEnabled(bool(sure))
        self._show_abilities(readiness(content))
        self._explain()
        self._follow()

    def _show_abilities(self, now: Readiness) -> None:
        self.can_do.setText(now.words)
        self.abilities.clear()
        for one in now.abilities:
            lacking = "; ".join(f"{role}: {why}" for role, why in one.lacking.items())
            text = f"{one.name}: {one.state}" + (f"\n{lacking}" if lacking else "")
            item = QListWidgetItem(text)
            item.setToolTip(plain_tip(text))
            self.abilities.addItem(item)

    @property
    def chosen(self) -> list[Suggestion]:
        """The suggestions that are chosen."""
        return [
            one
            for row, one in enumerate(self._found)
            if self.suggested.item(row).checkState() == CHECKED
        ]

    def choose_sure(self) -> None:
        """Choose every suggestion that is sure."""
        self.suggested.blockSignals(True)
        for row, one in enumerate(self._found):
            if one.surely is Surely.SURE:
                self.suggested.item(row).setCheckState(CHECKED)
        self.suggested.blockSignals(False)
        self.suggested.viewport().update()
        self._follow()

    def _explain(self) -> None:
        row = self.suggested.currentRow()
        self.why.setText(_reasons(self._found[row]) if 0 <= row < len(self._found) else "")

    def _bindings(self) -> Change | None:
        document = self._desk.current
        if document is None or not self.chosen:
            return None
        return confirm_roles(document.content, self.chosen)

    def _follow(self) -> None:
        """Show the rules that the chosen bindings bring, those left out before still left out."""
        document = self._desk.current
        self._rules = []
        self.rules.blockSignals(True)
        self.rules.clear()
        try:
            change = self._bindings()
            if document is not None and change is not None:
                after = apply(document.content, change)
                offered = starting_rules(after, [one.table for one in self.chosen]).rules
                for id, rules in offered.items():
                    for rule in rules:
                        self._rules.append((id, rule))
                        item = QListWidgetItem(f"{after[id].label}: {stated(rule, after[id])}")
                        item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
                        item.setCheckState(OPEN if (id, rule) in self._left else CHECKED)
                        item.setToolTip(plain_tip(rule.reason or item.text()))
                        self.rules.addItem(item)
        except BitepointError as error:
            self.note.setText(str(error))
        self.rules.blockSignals(False)
        writable = document is not None and not document.read_only
        self.bind.setEnabled(writable and bool(self.chosen))

    def _on_rule(self, item: QListWidgetItem) -> None:
        which = self._rules[self.rules.row(item)]
        if item.checkState() == CHECKED:
            self._left.discard(which)
        else:
            self._left.add(which)

    def confirm(self) -> None:
        """Bind what is chosen, with the rules that are, and look again."""
        document = self._desk.current
        if document is None or not self.chosen:
            return
        kept: dict[str, list[Rule]] = {}
        for id, rule in self._rules:
            if (id, rule) not in self._left:
                kept.setdefault(id, []).append(rule)

        def made() -> Change:
            return with_rules(document.content, confirm_roles(document.content, self.chosen), kept)

        if self._desk.do(made):
            self.look()
        else:
            self.note.setText("Nothing was bound; see the status line.")


def _list(name: str) -> QListWidget:
    made = QListWidget()
    made.setAccessibleName(name)
    made.setWordWrap(True)
    made.setSpacing(TIGHT // 2)
    made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    return made


def _column(widgets: tuple[QWidget, ...], *growing: QWidget) -> QWidget:
    made = QWidget()
    column = QVBoxLayout(made)
    column.setContentsMargins(TIGHT, TIGHT, TIGHT, TIGHT)
    column.setSpacing(APART // 2)
    for widget in widgets:
        column.addWidget(widget, 1 if widget in growing else 0)
    return made


def _reasons(one: Suggestion) -> str:
    inputs = ", ".join(name or "not understood" for name in one.inputs)
    parts = [f"Axes read: {inputs}."] if inputs else []
    parts += [f"For it: {'; '.join(one.reasons)}."] if one.reasons else []
    parts += [f"Against it: {'; '.join(one.doubts)}."] if one.doubts else []
    parts += [f"Or else: {', '.join(one.instead)}."] if one.instead else []
    return " ".join(parts)
