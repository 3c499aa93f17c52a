"""The rules in force for the table in work, in words, each with whether it holds."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QApplication,
    QGridLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.action import can_edit
from app.desk import Desk
from app.look.parts import primary
from app.look.tokens import NEAR, TIGHT
from app.plain import plain_tip
from calib_model.core.rule import Rule, Severity
from calib_model.core.table import Table
from calib_model.editing.rule_changes import remove_rules, switch_rules
from calib_model.errors import BitepointError
from calib_model.rules.limits import Limits, Locked
from calib_model.rules.relations import ModeRelation

from .rule_form import RuleForm
from .rule_suggestions import RuleSuggestions

HOLDS, BROKEN, UNKNOWN = "✓", "✗", "?"
CHOOSE = "Choose a rule that the table states in the list of rules first."
_WORDS = {HOLDS: "holds", BROKEN: "does not hold", UNKNOWN: "not checked"}


class RulesList(QListWidget):
    """Rules with a switch each.

    Signals
    -------
    add_asked, change_asked, remove_asked
    """

    add_asked = Signal()
    change_asked = Signal()
    remove_asked = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Insert adds a rule, Enter changes the chosen one, Delete removes it."""
        asked = {
            Qt.Key.Key_Insert: self.add_asked,
            Qt.Key.Key_Return: self.change_asked,
            Qt.Key.Key_Enter: self.change_asked,
            Qt.Key.Key_Delete: self.remove_asked,
        }.get(Qt.Key(event.key()))
        if asked is not None and event.modifiers() in (
            Qt.KeyboardModifier.NoModifier,
            Qt.KeyboardModifier.KeypadModifier,
        ):
            asked.emit()
            return
        super().keyPressEvent(event)


class RulesPanel(QWidget):
    """What the table must satisfy, and the forms that change it, which stand in its place.

    Parameters
    ----------
    desk : Desk

    Signals
    -------
    previewed : Preview or None
        What a rule that is being written would find, to be marked in the grid.
    """

    previewed = Signal(object)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._rules: list[Rule] = []
        self._table_id = ""
        self.list = RulesList()
        self.list.setAccessibleName("Rules of the table")
        self.list.setWordWrap(True)
        self.list.setSpacing(TIGHT // 2)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.itemChanged.connect(self._on_switched)
        self.list.currentRowChanged.connect(lambda _row: self._follow())
        self.list.itemDoubleClicked.connect(lambda _item: self.change())
        self.list.add_asked.connect(self.add)
        self.list.change_asked.connect(self.change)
        self.list.remove_asked.connect(self.remove)
        self.add_button = _button("A&dd a rule…", "Choose a kind; see what it finds (Insert).")
        self.add_button.clicked.connect(lambda _checked=False: self.add())
        self.suggest_button = _button(
            "Su&ggested…", "Rules that the present shape suggests; none is taken for granted."
        )
        self.suggest_button.clicked.connect(lambda _checked=False: self.suggest())
        self.change_button = _button("Chan&ge…", "Change the chosen rule (Enter).")
        self.change_button.clicked.connect(lambda _checked=False: self.change())
        self.remove_button = _button("Remo&ve", "Remove the chosen rule (Delete).")
        self.remove_button.clicked.connect(lambda _checked=False: self.remove())
        self.edit_button = _button(
            "Edit as te&xt…", "Write the table's rules, relations and bindings as text."
        )
        primary(self.add_button)
        acts = QGridLayout()
        acts.setSpacing(TIGHT)
        acts.addWidget(self.change_button, 0, 0)
        acts.addWidget(self.remove_button, 0, 1)
        acts.addWidget(self.suggest_button, 1, 0)
        acts.addWidget(self.edit_button, 1, 1)
        acts.addWidget(self.add_button, 2, 0, 1, 2)
        listed = QWidget()
        column = QVBoxLayout(listed)
        column.setContentsMargins(NEAR, NEAR, NEAR, NEAR)
        column.setSpacing(NEAR)
        column.addWidget(self.list, 1)
        column.addLayout(acts)
        self.form = RuleForm(desk)
        self.suggestions = RuleSuggestions(desk)
        self._stack = QStackedWidget()
        for page in (listed, self.form, self.suggestions):
            self._stack.addWidget(page)
            # No page is wider than the panel: long words are cut or wrapped in it.
            page.setMinimumWidth(0)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._stack)
        self.form.previewed.connect(self.previewed)
        self.form.left.connect(self.back)
        self.suggestions.left.connect(self.back)
        desk.table_changed.connect(self._show)
        desk.findings_changed.connect(self._show)
        desk.edited.connect(lambda _event: self._show())
        self._show()

    # -- the list --------------------------------------------------------------------------------

    def _show(self) -> None:
        table = self._desk.table
        table_id = table.id if table is not None else ""
        if table_id != self._table_id:
            self._table_id = table_id
            self.back()
        rules = rules_of(table) if table is not None else []
        lines = rule_lines(self._desk, table) if table is not None else []
        shown = [self.list.item(n).text() for n in range(self.list.count())]
        if shown != lines or rules != self._rules:
            self._fill(table, rules, lines)
        self._follow()

    def _fill(self, table: Table | None, rules: list[Rule], lines: list[str]) -> None:
        row = self.list.currentRow()
        self._rules = rules
        self.list.blockSignals(True)
        self.list.clear()
        for rule, line in zip(rules, lines, strict=True):
            item = QListWidgetItem(line)
            words = f"{_WORDS[line[0]]}: {line[1:].strip()}"
            item.setData(Qt.ItemDataRole.AccessibleTextRole, words)
            tip = _WORDS[line[0]].capitalize() + (f". {rule.reason}" if rule.reason else "")
            if table is not None and _own(table, rule):
                item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
                on = Qt.CheckState.Unchecked if rule.off else Qt.CheckState.Checked
                item.setCheckState(on)
                tip += f". Weighs as {rule.severity}."
            item.setToolTip(plain_tip(tip))
            self.list.addItem(item)
        self.list.setCurrentRow(min(max(row, 0), len(lines) - 1))
        self.list.blockSignals(False)

    @property
    def chosen(self) -> Rule | None:
        """The rule chosen in the list, where it is one to change."""
        table, row = self._desk.table, self.list.currentRow()
        if table is None or not 0 <= row < len(self._rules):
            return None
        return self._rules[row] if _own(table, self._rules[row]) else None

    def _follow(self) -> None:
        editable = can_edit(self._desk)
        for button in (self.add_button, self.suggest_button, self.edit_button):
            button.setEnabled(editable)
        for button in (self.change_button, self.remove_button):
            button.setEnabled(editable and self.chosen is not None)

    def _on_switched(self, item: QListWidgetItem) -> None:
        document, table = self._desk.current, self._desk.table
        row = self.list.row(item)
        if document is None or table is None or not 0 <= row < len(self._rules):
            return
        rule = self._rules[row]
        on = item.checkState() == Qt.CheckState.Checked
        if on == rule.off:
            done = self._desk.do(
                lambda: switch_rules(document.content, (table.id,), lambda r: r == rule, on=on)
            )
            if not done:
                self._rules = []  # the switch goes back to what the table has
        QTimer.singleShot(0, self, self._show)

    # -- what can be done ------------------------------------------------------------------------

    def add(self) -> None:
        """Open the form for a new rule."""
        if can_edit(self._desk):
            self._stack.setCurrentWidget(self.form)
            self.form.begin()

    def change(self) -> None:
        """Open the form with the chosen rule."""
        if self.chosen is None:
            self._desk.tell(CHOOSE, refused=True)
        elif can_edit(self._desk):
            self._stack.setCurrentWidget(self.form)
            self.form.begin(self.chosen)

    def remove(self) -> None:
        """Remove the chosen rule."""
        document, table, rule = self._desk.current, self._desk.table, self.chosen
        if document is None or table is None or rule is None:
            self._desk.tell(CHOOSE, refused=True)
        else:
            self._desk.do(lambda: remove_rules(document.content, (table.id,), lambda r: r == rule))

    def suggest(self) -> None:
        """Show the rules that the present shape suggests."""
        if can_edit(self._desk):
            self._stack.setCurrentWidget(self.suggestions)
            self.suggestions.begin()

    def back(self) -> None:
        """Return to the list; nothing is marked any more that no rule of the table names."""
        away = self._stack.currentIndex() != 0
        page = self._stack.currentWidget()
        held = page is not None and page.isAncestorOf(QApplication.focusWidget() or self)
        self._stack.setCurrentIndex(0)
        self.form.stop()
        self.previewed.emit(None)
        if away and held:
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def take_keyboard(self) -> None:
        """Give the keyboard to what is shown."""
        targets: tuple[QWidget, ...] = (self.list, self.form.kind, self.suggestions.list)
        target = targets[self._stack.currentIndex()]
        target.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc leaves a form."""
        if event.key() == Qt.Key.Key_Escape and self._stack.currentIndex() != 0:
            self.back()
            return
        super().keyPressEvent(event)


def _button(text: str, tip: str) -> QPushButton:
    made = QPushButton(text)
    made.setToolTip(plain_tip(tip))
    return made


def _own(table: Table, rule: Rule) -> bool:
    """Whether a rule is one that the table states and that can be changed here."""
    return rule in table.rules and not isinstance(rule, Locked)


def rules_of(table: Table) -> list[Rule]:
    """Return the rules that are listed: its limits, those it states, those between modes."""
    return [Limits(), *table.rules, *([ModeRelation()] if table.relations else [])]


def rule_lines(desk: Desk, table: Table) -> list[str]:
    """Return one line per rule: a mark, then the rule in words."""
    report = desk.report
    broken = {f.source for f in report.of(table.id)} if report else set()
    unknown = {n.rule for n in report.not_checked_by_table.get(table.id, ())} if report else set()
    lines = []
    for rule in rules_of(table):
        try:
            words = rule.statement(table)
        except BitepointError as error:
            words = str(error)
        state = HOLDS
        if rule.severity is not Severity.ERROR:
            words += f" \N{MIDDLE DOT} {rule.severity}"
        if rule.off:
            words += " (turned off)"
        if report is None or rule.off or rule.kind in unknown:
            state = UNKNOWN
        if rule in broken:
            state = BROKEN
        lines.append(f"{state}  {words[:1].upper()}{words[1:]}")
    return lines
