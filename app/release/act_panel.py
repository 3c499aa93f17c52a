"""The chosen line in full, what can be done about it, and the form for that."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QPushButton,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from app.forms import Form
from app.plain import plain_tip
from calib_model.core.record import Remark, Waiver
from calib_model.signoff.gate import Item

from .act_forms import ApproveForm, DecideForm, LevelForm, RemarkForm, WaiveForm
from .acts import findings_of, tables_of
from .lines import Line, is_elsewhere
from .standing import Standing

BUTTONS = (
    ("go", "Go to the cell (Enter)", "Opens the table in Tune, at the cell."),
    ("accept", "Accept (A)", "Accepts the chosen tables as they are."),
    ("query", "Query (Q)", "Queries the chosen tables."),
    ("waive", "Waive (W)", "Accepts what the rule found, up to a size, for a reason."),
    ("level", "Maturity (L)", "Says how the values of the chosen tables are known."),
    ("remark", "Remark (R)", "Adds a remark on the table and its selected cells."),
    ("close", "Close or reopen (C)", "Closes a remark, or opens it again."),
    ("remove", "Remove (Del)", "Removes a waiver or a remark; can be undone."),
    ("open", "Open the other sets", "Opens the sets of the programme that are missing here."),
)


class ActPanel(QWidget):
    """Details, buttons, form.

    Signals
    -------
    ordered : str
        One of the names of `BUTTONS`.
    """

    ordered = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.details = QTextBrowser()
        self.details.setFrameShape(QFrame.Shape.NoFrame)
        self.details.setAccessibleName("The chosen line in full")
        self.details.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.details.setMinimumHeight(56)
        self.buttons: dict[str, QPushButton] = {}
        self._grid = QGridLayout()
        self._grid.setSpacing(4)
        for name, text, tip in BUTTONS:
            button = QPushButton(text)
            button.setToolTip(plain_tip(tip))
            button.setMinimumHeight(32)
            button.clicked.connect(lambda _checked=False, name=name: self.ordered.emit(name))
            self.buttons[name] = button
        self.waive, self.decide, self.level = WaiveForm(), DecideForm(), LevelForm()
        self.remark, self.approve = RemarkForm(), ApproveForm()
        self._forms: tuple[Form, ...] = (
            self.waive, self.decide, self.level, self.remark, self.approve,
        )  # fmt: skip
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 4, 4, 4)
        column.setSpacing(4)
        column.addWidget(self.details, 1)
        self._bar = QWidget()
        self._bar.setLayout(self._grid)
        self._grid.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._bar)
        for one in self._forms:  # not stacked: a stack is as tall as its tallest page
            column.addWidget(one)
        self.show_form(None)

    def heightForWidth(self, width: int) -> int:
        """Leave the details few lines where a form needs the room."""
        form = self.form
        lower = (
            form.heightForWidth(width - 8) if form is not None else self._bar.sizeHint().height()
        )
        return self.details.minimumHeight() + lower + 16

    def show_form(self, form: Form | None) -> None:
        """Show a form, or none."""
        for one in self._forms:
            one.setVisible(one is form)
        self._bar.setVisible(form is None)  # Esc brings the buttons back

    @property
    def form(self) -> Form | None:
        """The form that is shown."""
        return next((one for one in self._forms if one.isVisibleTo(self)), None)

    def show_lines(self, lines: list[Line], standing: Standing | None) -> None:
        """Show the chosen lines and what can be done about them."""
        possible = possible_acts(lines, standing)
        place = 0
        for name, button in self.buttons.items():
            self._grid.removeWidget(button)
            on = name in possible
            button.setVisible(on)
            if on:
                self._grid.addWidget(button, place // 3, place % 3)
                place += 1
        approving = [x.about for x in lines if isinstance(x.about, Waiver) and not x.about.approver]
        self.buttons["waive"].setText("Approve (W)" if approving else "Waive (W)")
        answering = any(isinstance(x.about, Remark) for x in lines)
        self.buttons["remark"].setText("Answer (R)" if answering else "Remark (R)")
        if not lines:
            self.details.setHtml("<p>Nothing is chosen.</p>")
            return
        if len(lines) > 1:
            names = ", ".join(dict.fromkeys(x.title for x in lines if x.title))
            self.details.setHtml(f"<p><b>{len(lines)} lines are chosen.</b></p><p>{escape(names)}")
            return
        line = lines[0]
        parts = [f"<p>{escape(line.kind)}: <b>{escape(line.title)}</b>"]
        parts[0] += f"&nbsp; {escape(line.table)}</p>" if line.table else "</p>"
        parts.append(f"<p>{_lines(line.text)}</p>")
        if line.more:
            parts.append(f"<p><i>{_lines(line.more)}</i></p>")
        since = standing.since.get(line.table, ()) if standing is not None and line.table else ()
        if since:
            rows = "".join(f"<li>{escape(text)}</li>" for text in since)
            parts.append(f"<p>Changed since the last sign-off:</p><ul>{rows}</ul>")
        self.details.setHtml("".join(parts))


def possible_acts(lines: list[Line], standing: Standing | None) -> set[str]:
    """Return what can be done about lines: names of `BUTTONS`."""
    if standing is None:
        return set()
    found = {"remark"}
    tables = tables_of(lines)
    if tables:
        found |= {"accept", "query"}
        if all(id in standing.content.tables for id in tables):
            found |= {"go", "level"}
    here = [
        x
        for x in lines
        if not (isinstance(x.about, Item) and is_elsewhere(standing.content, x.about))
    ]
    if findings_of(here):
        found.add("waive")
    waivers = [x.about for x in lines if isinstance(x.about, Waiver)]
    remarks = [x.about for x in lines if isinstance(x.about, Remark)]
    if waivers and not waivers[0].approver:
        found.add("waive")
    if remarks:
        found.add("close")
    if waivers or remarks:
        found.add("remove")
        found -= {"accept", "query", "level"}
    programme = standing.known.programme
    if programme is not None and any(x.kind == "Not checked" for x in lines):
        found.add("open")
    return found


def _lines(text: str) -> str:
    return escape(text).replace("\n", "<br>")
