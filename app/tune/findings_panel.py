"""The findings beside the table: in words, at their cells, with the remedies that suit them."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, Qt, QTimer
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QListView,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from app.company_in_use import company_in_use
from app.desk import Desk
from app.plain import PlainLabel, RichLabel, plain_tip
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.table import Table
from calib_model.remedies import Remedy
from calib_model.rules.attention import Attention, alike, attention
from calib_model.rules.check import Finding, Report

from .findings_delegate import FindingsDelegate, unbroken
from .findings_model import FindingsModel
from .remedy_finder import RemedyFinder

MOST_REMEDIES = 4


class FindingsList(QListView):
    """A list whose rows follow its width; Enter goes to the cell."""

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()
        # Larger text or more remedies leave less room: the chosen finding stays in it.
        QTimer.singleShot(0, self, lambda: self.scrollTo(self.currentIndex()))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.activated.emit(self.currentIndex())
            return
        super().keyPressEvent(event)


class FindingsPanel(QWidget):
    """Findings of the table in work or of the whole set, and what can be done about one.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.model = FindingsModel(desk)
        self._heading = RichLabel()
        self._heading.setWordWrap(True)
        self.whole_set = QCheckBox("Of the who&le set")
        self.whole_set.setToolTip("List the findings of every table of the set.")
        self.whole_set.toggled.connect(self.model.set_whole_set)
        self.list = FindingsList()
        self.list.setModel(self.model)
        self.list.setItemDelegate(FindingsDelegate(self.list))
        self.list.setAccessibleName("Findings")
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.list.setUniformItemSizes(False)
        self.list.clicked.connect(self._go)
        self.list.activated.connect(self._go_to_grid)
        self.list.selectionModel().currentChanged.connect(self._on_current)
        self._remedies = QVBoxLayout()
        self._remedies.setSpacing(4)
        self._buttons: list[QPushButton] = []
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 8, 8, 8)
        column.addWidget(self._heading)
        column.addWidget(self.whole_set)
        column.addWidget(self.list, 1)
        column.addLayout(self._remedies)
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(30)
        self._later.timeout.connect(self._ask)
        self._finder = RemedyFinder(self)
        self._finder.found.connect(self._show_remedies)
        self._looked: tuple[CalibrationSet, int, Attention] | None = None
        """The set that was counted, how many rules it lacks, and the count."""
        self._kept: Finding | None = None
        self._reached: tuple[str, Rule] | None = None
        """The finding whose cell the cursor was taken to last."""
        self.model.modelAboutToBeReset.connect(self._keep)
        self.model.modelReset.connect(self._on_reset)
        desk.findings_changed.connect(self._describe)
        desk.table_changed.connect(self._describe)
        desk.current_changed.connect(self._describe)
        self._describe()

    # -- moving through findings ---------------------------------------------------------------

    @property
    def finding(self) -> Finding | None:
        """The finding that is chosen."""
        return self.model.finding(self.list.currentIndex().row())

    def step(self, by: int) -> None:
        """Choose the next (or previous) finding of the whole set and go to its cell.

        The first step goes to the finding that the list shows as chosen.
        """
        report, table = self._desk.report, self._desk.table
        if report is None or not report.findings:
            self._desk.tell("No findings.")
            return
        now = self.finding
        findings = self._in_turn()
        if now is not None and now in findings:
            # The list chooses its first row by itself: nobody has been there yet.
            place = findings.index(now) + (by if self._reached == _key(now) else 0)
        else:
            here = [n for n, f in enumerate(findings) if table and f.table == table.id]
            place = here[0] if here else (0 if by > 0 else -1)
        chosen = findings[place % len(findings)]
        self._reached = _key(chosen)
        self._desk.open_table(chosen.table, chosen.cells[0] if chosen.cells else None)
        row = self.model.row_of(chosen)
        if row >= 0:
            self.list.setCurrentIndex(self.model.index(row))
        self._ask()
        self._desk.tell(f"Finding {findings.index(chosen) + 1} of {len(findings)}")

    def _in_turn(self) -> list[Finding]:
        """Return all findings in the order of the lists: table by table, likely causes first."""
        report, document = self._desk.report, self._desk.current
        if report is None:
            return []
        if self.model.whole_set or document is None:
            return list(report.findings)
        found = [f for id in document.content.tables for f in report.of(id)]
        return found + [f for f in report.findings if f.table not in document.content.tables]

    def apply_remedy(self, number: int) -> None:
        """Apply the remedy with this number, as listed."""
        if self._later.isActive():
            self._ask()
        self._finder.wait()
        if 0 <= number < len(self._buttons):
            self._buttons[number].click()
        else:
            self._desk.tell("Choose a finding with a remedy first (F8).")

    def _go(self, index: QModelIndex) -> None:
        finding = self.model.finding(index.row())
        if finding is not None:
            self._reached = _key(finding)
            self._desk.open_table(finding.table, finding.cells[0] if finding.cells else None)

    def _go_to_grid(self, index: QModelIndex) -> None:
        self._go(index)
        self._desk.focus_grid.emit()

    def _on_current(self, _now: QModelIndex, _before: QModelIndex) -> None:
        self._later.start()

    # -- staying in step -----------------------------------------------------------------------

    def _keep(self) -> None:
        self._kept = self.finding

    def _on_reset(self) -> None:
        kept, self._kept = self._kept, None
        row = self.model.row_of(kept) if kept is not None else -1
        if row < 0 and self.model.rowCount():
            row = 0
        if row >= 0:
            self.list.setCurrentIndex(self.model.index(row))
        self._later.start()
        self._describe()

    def _describe(self) -> None:
        report, table, document = self._desk.report, self._desk.table, self._desk.current
        if document is None:
            text = "Open a set to see what the checks find."
        elif report is None:
            text = _escape(self._desk.check_failure) or "Checking the set…"
        else:
            # How many the set has, the status bar says; the list of tables, how many each.
            here = counted(report.counts(table.id)) if table else ""
            text = f"<b>{here or 'No findings'}</b> in this table."
            text += self._attention_words(document.content, report, table)
            text += self._company_words()
            if report.not_checked:
                rules = len(report.not_checked)
                text += (
                    f" {rules} rule{'' if rules == 1 else 's'} not checked: "
                    f"{_escape(report.not_checked[0].reason)}"
                )
        self._heading.setText(text)

    def _attention_words(self, content: CalibrationSet, report: Report, table: Table | None) -> str:
        """Say what no rule looks at: a table without findings may be one without rules."""
        missed = len(report.not_checked)
        if self._looked is None or self._looked[1] != missed or not alike(self._looked[0], content):
            self._looked = (content, missed, attention(content, report))
        else:
            self._looked = (content, missed, self._looked[2])
        found = self._looked[2]
        here = table is not None and table.id in found.unchecked
        words = " <b>No rule looks at this table.</b>" if here else ""
        return f"{words} {_escape(found.brief)}" if found.brief else words

    def _company_words(self) -> str:
        """Say which programme's sets were checked with, and what of it cannot be."""
        company = company_in_use(self._desk)
        if company is None:
            return ""
        parts = [company.words, *company.company.problems[:1]]
        return "".join(f" {_escape(part)}" for part in parts if part)

    # -- remedies ------------------------------------------------------------------------------

    def _ask(self) -> None:
        """Start to look for the remedies of the chosen finding."""
        self._later.stop()
        finding, document = self.finding, self._desk.current
        if finding is None or document is None:
            self._finder.forget()
            self._show_remedies(None, ())
            return
        self._show_remedies(None, ())  # those on show belong to another finding
        base = self._base(document.content)
        self._finder.ask(document.content, finding, base)

    def _base(self, content: CalibrationSet) -> CalibrationSet | None:
        """Return the set that relations refer to: the reference, else the programme's base."""
        reference = self._desk.reference
        if reference is not None and reference is not self._desk.current:
            return reference.content
        company = company_in_use(self._desk)
        others = company.sets() if company is not None else ()
        return next((one for one in others if one.mode == content.base_mode), None)

    def _show_remedies(self, finding: Finding | None, remedies: tuple[Remedy, ...]) -> None:
        while (item := self._remedies.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        self._buttons = []
        if finding is None:
            return
        title = "Remedies" if remedies else "No remedy is offered here: edit the cells named above."
        label = PlainLabel(title)
        label.setWordWrap(True)
        self._remedies.addWidget(label)
        for number, remedy in enumerate(remedies[:MOST_REMEDIES], 1):
            button = RemedyButton(f"{number}  {remedy.text}", remedy.outcome)
            button.clicked.connect(lambda _=False, r=remedy: self._desk.do(r.change))
            self._remedies.addWidget(button)
            self._buttons.append(button)


class RemedyButton(QPushButton):
    """A large button whose text wraps, with a line on whether it mends the finding."""

    def __init__(self, text: str, outcome: str) -> None:
        super().__init__()
        label = RichLabel(f"{_escape(unbroken(text))}<br><small>{outcome}</small>")
        label.setWordWrap(True)
        label.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 6, 10, 6)
        column.addWidget(label)
        self.setAccessibleName(f"{text}. {outcome}")
        self.setToolTip(plain_tip(f"{outcome}. One undo step."))
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self._column = column

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._column.heightForWidth(width)

    def sizeHint(self):  # type: ignore[no-untyped-def]
        hint = self._column.sizeHint()
        hint.setHeight(max(hint.height(), 44))
        return hint

    minimumSizeHint = sizeHint


def _key(finding: Finding) -> tuple[str, Rule]:
    """Return what a finding still has in common with itself after a new check."""
    return finding.table, finding.source


def counted(counts: tuple[int, int, int]) -> str:
    """Return counts of errors, warnings and notes in words; empty if all are zero."""
    words = ("error", "warning", "note")
    parts = [f"{n} {w}{'' if n == 1 else 's'}" for n, w in zip(counts, words, strict=True) if n]
    return ", ".join(parts)


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
