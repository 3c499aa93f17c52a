"""Adding a rule, or changing one: kind, settings, and what it would find before it is kept."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QApplication,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QListView,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.parts import TextLabel, primary
from app.look.tokens import NEAR, TIGHT
from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo
from calib_model.core.rule import Rule, find_axis
from calib_model.core.rule_settings import Of
from calib_model.editing.change import Change
from calib_model.editing.rule_changes import Selection, add_rule, exchange_rule
from calib_model.errors import BitepointError
from calib_model.rules.kinds import Kind, kind, kinds
from calib_model.rules.preview import preview
from calib_model.rules.said import rule_from_texts

from .rule_fields import RuleField, fields_of
from .rule_kind_delegate import WIDTH, RuleKindDelegate
from .rule_pictures import RulePicture

PAUSE = 120
"""Milliseconds between the last change of a field and the next preview."""
THIS, PATTERN = "for this table", "for tables by pattern"
_NOT_ASKED = ("off",)
"""Switched in the list of rules."""


class RuleForm(QWidget):
    """A form that keeps nothing until it is told to.

    Parameters
    ----------
    desk : Desk

    Signals
    -------
    previewed : Preview or None
        What the rule of the form would find; None while there is no rule to try.
    left
        The form is done with, whether or not something was kept.
    """

    previewed = Signal(object)
    left = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._before: Rule | None = None
        self._fields: list[RuleField] = []
        self._change: Change | None = None
        self.heading = TextLabel(step="title")
        self.heading.setWordWrap(True)
        self.kind = QuietCombo()
        self.kind.setAccessibleName("Kind of rule")
        kinds_shown = QListView()
        kinds_shown.setMinimumWidth(WIDTH)
        kinds_shown.setVerticalScrollMode(QListView.ScrollMode.ScrollPerPixel)
        self.kind.setView(kinds_shown)
        self.kind.setItemDelegate(RuleKindDelegate(self.kind))
        self.kind.setMinimumContentsLength(8)
        self.kind.setSizeAdjustPolicy(
            QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.kind.currentIndexChanged.connect(self._on_kind)
        self.picture = RulePicture()
        self.explained = TextLabel(second=True)
        self.explained.setWordWrap(True)
        self.which = QuietCombo()
        self.which.setAccessibleName("Tables that get the rule")
        self.which.addItems([THIS, PATTERN])
        self.which.currentIndexChanged.connect(self._on_which)
        self.patterns = {name: self._pattern(name) for name in ("id", "role", "name")}
        self.outcome = PlainLabel()
        self.outcome.setWordWrap(True)
        self.outcome.setAccessibleName("What the rule would find")
        self.keep = primary(QPushButton("&Keep this rule"))
        self.keep.setToolTip("Add it to the table; one undo step.")
        self.keep.clicked.connect(lambda _checked=False: self.accept())
        self.cancel = QPushButton("Leave it")
        self.cancel.setToolTip("Back to the rules; nothing is changed.")
        self.cancel.clicked.connect(lambda _checked=False: self.left.emit())
        self._rows = QFormLayout()
        self._rows.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self._rows.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self._rows.setVerticalSpacing(TIGHT)
        self._build()
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(PAUSE)
        self._later.timeout.connect(self.try_it)
        desk.edited.connect(self._on_edited)

    def _pattern(self, name: str) -> QLineEdit:
        line = QLineEdit()
        line.setMaxLength(200)
        line.setAccessibleName(f"Pattern for the {name}")
        line.setPlaceholderText(f"{name}, with * and ?")
        line.setToolTip(plain_tip(f"Tables whose {name} fits; all patterns given must fit."))
        line.textChanged.connect(self._soon)
        line.hide()
        return line

    def _build(self) -> None:
        inner = QWidget()
        column = QVBoxLayout(inner)
        column.setContentsMargins(NEAR, NEAR, NEAR, NEAR)
        column.setSpacing(NEAR)
        for widget in (self.heading, self.kind, self.picture, self.explained):
            column.addWidget(widget)
        column.addLayout(self._rows)
        column.addWidget(self.which)
        for line in self.patterns.values():
            column.addWidget(line)
        column.addStretch(1)
        self.area = QScrollArea()
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QScrollArea.Shape.NoFrame)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setWidget(inner)
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        acts = QHBoxLayout()
        acts.addStretch(1)
        acts.addWidget(self.cancel)
        acts.addWidget(self.keep)
        foot = QVBoxLayout()
        foot.setContentsMargins(NEAR, 0, NEAR, NEAR)
        foot.addWidget(self.outcome)
        foot.addLayout(acts)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self.area, 1)
        whole.addLayout(foot)

    # -- opening ---------------------------------------------------------------------------------

    def begin(self, rule: Rule | None = None) -> None:
        """Ask for a new rule of the table in work, or show one of its rules to change it."""
        table = self._desk.table
        if table is None:
            return
        self._before = rule
        self.heading.setText("Change a rule" if rule else "Add a rule")
        self.which.setCurrentIndex(0)
        self.which.setVisible(rule is None)
        offered = (kind(rule.kind),) if rule else tuple(k for k in kinds() if k.suits(table))
        self.kind.blockSignals(True)
        self.kind.clear()
        for one in offered:
            self.kind.addItem(one.label, one.name)
            row, words = self.kind.count() - 1, plain_tip(one.explained)
            self.kind.setItemData(row, words, Qt.ItemDataRole.ToolTipRole)
            self.kind.setItemData(row, one.explained, Qt.ItemDataRole.AccessibleDescriptionRole)
        start = self.kind.findData("monotone") if rule is None else 0
        self.kind.setCurrentIndex(max(start, 0))
        self.kind.setEnabled(rule is None)
        self.kind.blockSignals(False)
        self._on_kind()
        self.kind.setFocus(Qt.FocusReason.OtherFocusReason)
        if rule is not None and self._fields:
            self._fields[0].edit.setFocus(Qt.FocusReason.OtherFocusReason)

    @property
    def _kind(self) -> Kind | None:
        name = self.kind.currentData()
        return kind(name) if name else None

    def _on_kind(self) -> None:
        chosen, table, document = self._kind, self._desk.table, self._desk.current
        while self._rows.rowCount():
            self._rows.removeRow(0)
        self._fields = []
        if chosen is None or table is None or document is None:
            return
        self.picture.show_picture(chosen.picture)
        self.explained.setText(chosen.explained)
        settings = tuple(s for s in chosen.settings if s.name not in _NOT_ASKED)
        for setting in settings:
            field = RuleField(setting, table, document.content)
            caption = PlainLabel(field.label)
            caption.setBuddy(field.edit)
            self._rows.addRow(caption, field)
            field.show()  # at once, so that Tab reaches it before the next event
            self._fields.append(field)
            if isinstance(field.edit, QLineEdit):
                field.edit.returnPressed.connect(self.accept)
        if self._before is not None:
            shown = fields_of(self._before, settings)
            for field in self._fields:
                field.show_value(shown[field.setting.name])
        for field in self._fields:
            field.changed.connect(self._soon)
        self._soon()

    def _on_which(self) -> None:
        for line in self.patterns.values():
            line.setVisible(self.which.currentText() == PATTERN)
        self._soon()

    def focusNextPrevChild(self, next: bool) -> bool:
        """Go through the form as it is read; fields made anew would come last in Qt's order."""
        every = (self.kind, *(f.edit for f in self._fields), self.which,
                 *self.patterns.values(), self.cancel, self.keep)  # fmt: skip
        order = [w for w in every if w.isVisible() and w.isEnabled()]
        here = next_of(order, QApplication.focusWidget(), 1 if next else -1)
        if here is None:
            return super().focusNextPrevChild(next)
        here.setFocus(Qt.FocusReason.TabFocusReason if next else Qt.FocusReason.BacktabFocusReason)
        return True

    def stop(self) -> None:
        """Try nothing any more."""
        self._later.stop()

    # -- trying ----------------------------------------------------------------------------------

    def _soon(self) -> None:
        self._show_units()
        self._later.start()

    def _on_edited(self) -> None:
        if self.isVisible():
            self._later.start()

    def _show_units(self) -> None:
        table = self._desk.table
        named = next((f.text for f in self._fields if f.setting.of is Of.AXIS), "")
        if table is None:
            return
        try:
            axis = find_axis(table, named) if named else -1
        except BitepointError:
            axis = -1
        for field in self._fields:
            field.show_unit(axis)

    def tables(self) -> tuple[str, ...]:
        """Return the ids of the tables that are meant.

        Raises
        ------
        BitepointError
            If no table fits the patterns.
        """
        document, table = self._desk.current, self._desk.table
        if document is None or table is None:
            return ()
        if self._before is not None or self.which.currentText() == THIS:
            return (table.id,)
        given = {name: line.text().strip() for name, line in self.patterns.items()}
        return Selection(**given).of(document.content) if any(given.values()) else ()

    def rule(self) -> Rule:
        """Return the rule as the fields say it.

        Raises
        ------
        BitepointError
            If a field cannot be read or one that is needed is empty.
        """
        chosen = self._kind
        assert chosen is not None
        texts = {field.setting.name: field.text for field in self._fields}
        if self._before is not None and self._before.off:
            texts["off"] = "yes"
        return rule_from_texts(chosen, {name: text for name, text in texts.items() if text})

    def try_it(self) -> None:
        """Show what the rule would find in the tables as they are."""
        self._later.stop()
        self._change = None
        document, table = self._desk.current, self._desk.table
        if document is None or table is None or self._kind is None:
            return
        try:
            ids = self.tables()
            rule = self.rule()
            if not ids:
                self._say(None, "Write a pattern: which tables?")
                return
            if self._before is not None:
                change = exchange_rule(document.content, table.id, self._before, rule)
            else:
                change = add_rule(document.content, ids, rule)
            found = preview(document.content, ids, rule)
        except BitepointError as error:
            self._say(None, str(error))
            return
        self._change = change
        there = "" if not change.is_empty or self._before else " It is stated there already."
        self._say(found, f"{found.words}{there}")

    def _say(self, found: object, words: str) -> None:
        self.outcome.setText(words)
        self.keep.setEnabled(self._change is not None and not self._change.is_empty)
        self.previewed.emit(found)

    def accept(self) -> None:
        """Keep the rule, as one undo step."""
        self.try_it()
        if self._change is not None and not self._change.is_empty and self._desk.do(self._change):
            self.left.emit()


def next_of(order: Sequence[QWidget], here: QWidget | None, by: int) -> QWidget | None:
    """Return the widget that follows in an order; None beyond its ends."""
    at = order.index(here) + by if here in order else -1
    return order[at] if 0 <= at < len(order) else None
