"""The forms that settle what is in the list: waive, decide, maturity, remark, approve."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QLabel, QPushButton

from app.forms import Form, PathField
from app.line_rows import Line, Rows
from app.look.parts import TextLabel
from app.quiet import QuietCombo
from app.row_view import RowView
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import exact, with_unit
from calib_model.core.record import Level, Outcome, Remark, Waiver
from calib_model.rules.check import Finding

from .lines import change_words, places_words
from .row_delegate import RowDelegate
from .standing import Standing

MOST_SHOWN = 20
"""So many changes of a table are told on hover."""


class WaiveForm(Form):
    """Accept findings as they are, up to a size, for a reason."""

    def __init__(self) -> None:
        super().__init__("Waive")
        self.cells = TextLabel(second=True)
        self.cells.setWordWrap(True)
        self.cells.setAccessibleName("Cells that the waiver names")
        # Not a row of the fields: those give a label that wraps the height of one line.
        self.column.insertWidget(1, self.cells)
        self.largest = self.text_field(
            "Up to", "Largest breach to accept",
            "The largest breach that is accepted; the waiver lapses when it grows above.",
        )  # fmt: skip
        self.reason = self.text_field(
            "Reason", "Reason for the waiver", "Why the breach may stay.", "Why it may stay"
        )
        self.author = self.text_field("Asked by", "Who asks for the waiver")
        self.approver = self.text_field(
            "Approved by", "Who approves the waiver",
            "Another person than who asks. Left empty, the waiver does not hold until somebody "
            "has approved it.", "Another person",
        )  # fmt: skip
        self.expires = self.text_field(
            "Last day", "Last day of the waiver", "The last day it holds; empty for no end.",
            "2027-02-28, or empty for no end",
        )  # fmt: skip
        self.findings: list[Finding] = []

    def show_findings(self, content: CalibrationSet, findings: Sequence[Finding], by: str) -> None:
        """Say what would be waived."""
        self.findings = list(findings)
        self.say("")
        self.author.setText(self.author.text() or by)
        if len(findings) == 1:
            one = findings[0]
            label = content[one.table].label
            self.heading.setText(f"Waive in {label}: {one.rule.replace('_', ' ')}")
            self.cells.setText(f"At {places_words(tuple(dict.fromkeys(one.axis_values)))}")
            self.largest.setText(exact(abs(one.amount)))
            self.largest.setAccessibleDescription(f"In {with_unit(0, one.unit)[2:] or 'no unit'}")
            self.largest.setPlaceholderText("")
        else:
            self.heading.setText(f"Waive {len(findings)} findings")
            self.cells.setText("Of each finding, the cells that it names.")
            self.largest.setText("")
            self.largest.setPlaceholderText("Of each finding, its present size")
        self.largest.setEnabled(len(findings) == 1)
        self.reason.selectAll()


class DecideForm(Form):
    """Accept or query tables."""

    def __init__(self) -> None:
        super().__init__("Decide")
        self.rows = Rows(self)
        self.what = RowView()
        self.what.draw_by(RowDelegate(self.what))
        self.what.setModel(self.rows)
        self.what.setSelectionMode(RowView.SelectionMode.NoSelection)
        self.what.setAccessibleName("Tables that are decided on, and what changed in each")
        self.column.insertWidget(1, self.what, 20)
        self.comment = self.text_field("Comment", "Comment on the decision")
        self.by = self.text_field("Decided by", "Who decides")
        self.key = PathField("Private key file of who accepts")
        self.add("Key file", self.key)
        self.secret = self.secret_field("Passphrase", "Passphrase of the key")
        self.outcome = Outcome.ACCEPTED
        self.tables: list[str] = []
        self.with_key = False
        self.needs_comment = False
        self.confirm: QPushButton | None = None
        """Its button, once it has one."""

    @property
    def many(self) -> bool:
        """Whether the tables are listed, since there are several."""
        return len(self.tables) > 1

    def show_tables(
        self,
        standing: Standing,
        tables: list[str],
        outcome: Outcome,
        by: str,
        *,
        with_key: bool,
        answered: bool,
    ) -> None:
        """Say what would be decided, of several tables with what changed in each.

        Parameters
        ----------
        standing : Standing
        tables : list of str
        outcome : Outcome
        by : str
        with_key : bool
            Whether the function group asks for a key.
        answered : bool
            Whether a query is to be answered.
        """
        self.tables, self.outcome, self.with_key = tables, outcome, with_key
        self.needs_comment = outcome is Outcome.QUERIED or answered
        content = standing.content
        named = [content.tables[id].label if id in content.tables else id for id in tables]
        self.what.setVisible(self.many)
        self.rows.show(_rows_of(standing, dict(zip(tables, named, strict=True)), self.many))
        self.what.scrollToTop()
        if self.confirm is not None:
            verb = "Query" if outcome is Outcome.QUERIED else "Accept"
            self.confirm.setText(f"{verb} {len(tables)} tables" if self.many else verb)
        what = named[0] if len(named) == 1 else f"{len(named)} tables"
        self.say("")
        caption = self.fields.labelForField(self.comment)
        if outcome is Outcome.QUERIED:
            self.heading.setText(f"Query {what}")
            text, hint = "Question", "What is to be answered"
        elif answered:
            self.heading.setText(f"Accept {what}, which was queried")
            text, hint = "Answer", "What settles the query"
        else:
            self.heading.setText(f"Accept {what}")
            text, hint = "Comment", "Optional"
        if isinstance(caption, QLabel):
            caption.setText(text)
        self.comment.setAccessibleName(text)
        self.comment.setPlaceholderText(hint)
        self.comment.clear()
        self.by.setText(self.by.text() or by)
        self.fields.setRowVisible(self.key, with_key)
        self.fields.setRowVisible(self.secret, with_key)


def _rows_of(standing: Standing, named: dict[str, str], many: bool) -> list[Line]:
    """Return a row for each of several tables, those that were edited first."""
    edits = standing.edits
    return [
        Line(
            id, "", "", named[id], change_words(standing, id),
            "\n".join(edits.get(id, ())[:MOST_SHOWN]),
        )
        for id in sorted(named, key=lambda id: id not in edits)
    ] if many else []  # fmt: skip


class LevelForm(Form):
    """Say how the values of tables are known."""

    def __init__(self) -> None:
        super().__init__("Maturity")
        self.level = QuietCombo()
        for level in Level:
            self.level.addItem(str(level), level)
        self.level.setCurrentIndex(1)
        self.add("Level", self.level, "Maturity level", "How the values are known.")
        self.note = self.text_field("Evidence", "From what evidence", "", "Trip, bench sheet, ...")
        self.by = self.text_field("Says", "Who vouches for it")
        self.tables: list[str] = []

    def show_tables(self, content: CalibrationSet, tables: list[str], by: str) -> None:
        """Say of which tables."""
        self.tables = tables
        what = content[tables[0]].label if len(tables) == 1 else f"{len(tables)} tables"
        self.heading.setText(f"How the values are known: {what}")
        self.by.setText(self.by.text() or by)
        self.say("")


class RemarkForm(Form):
    """Add a remark, or answer one."""

    def __init__(self) -> None:
        super().__init__("Remark")
        self.text = self.text_field("Remark", "Remark", "", "What is to be said")
        self.by = self.text_field("From", "Who says so")
        self.to: Remark | None = None
        self.table = ""
        self.places: tuple[tuple[float, ...], ...] = ()

    def show_table(
        self, content: CalibrationSet, table: str, places: tuple[tuple[float, ...], ...], by: str
    ) -> None:
        """Say what the remark would be on."""
        self.to, self.table, self.places = None, table, places
        what = content.tables[table].label if table in content.tables else "the whole set"
        where = f" at {places_words(places)}" if places else ""
        self.heading.setText(f"Remark on {what}{where}")
        self._ready(by)

    def show_remark(self, to: Remark, by: str) -> None:
        """Say what would be answered."""
        self.to = to
        self.heading.setText(f"Answer to {to.author}: {to.text}")
        self._ready(by)

    def _ready(self, by: str) -> None:
        self.text.clear()
        self.by.setText(self.by.text() or by)
        self.say("")


class ApproveForm(Form):
    """Approve somebody else's waiver."""

    def __init__(self) -> None:
        super().__init__("Approve")
        self.approver = self.text_field(
            "Approved by", "Who approves the waiver", "Another person than who asked for it."
        )
        self.waiver: Waiver | None = None

    def show_waiver(self, content: CalibrationSet, waiver: Waiver) -> None:
        """Say which waiver."""
        self.waiver = waiver
        table = content.tables.get(waiver.table)
        label = table.label if table is not None else waiver.table
        self.heading.setText(
            f"Approve the waiver in {label} that {waiver.author} asks for: {waiver.reason}"
        )
        self.say("")
