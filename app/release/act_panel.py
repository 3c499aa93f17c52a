"""The chosen line in full, what can be done about it, and the form for that."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QApplication,
    QFrame,
    QHBoxLayout,
    QMenu,
    QPushButton,
    QTextBrowser,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.forms import Form
from app.look.draw_controls import RANK
from app.look.icons import icon
from app.look.palettes import tones_of
from app.look.parts import plain, primary, quiet
from app.look.tokens import NEAR
from app.look.type import sized
from app.plain import plain_tip
from calib_model.core.record import Remark, Waiver
from calib_model.signoff.gate import Item, Obstacle

from .act_forms import ApproveForm, DecideForm, LevelForm, RemarkForm, WaiveForm
from .acts import findings_of, tables_of
from .lines import Line, is_elsewhere
from .standing import Standing

BUTTONS = (
    ("go", "Go to the cell", "Enter", "Opens the table in Tune, at the cell."),
    ("accept", "Accept", "A", "Accepts the chosen tables as they are."),
    ("query", "Query…", "Q", "Queries the chosen tables."),
    ("waive", "Waive…", "W", "Accepts what the rule found, up to a size, for a reason."),
    ("level", "Maturity…", "L", "Says how the values of the chosen tables are known."),
    ("remark", "Remark…", "R", "Adds a remark on the table and its selected cells."),
    ("close", "Close or reopen", "C", "Closes a remark, or opens it again."),
    ("remove", "Remove", "Del", "Removes a waiver or a remark; can be undone."),
    ("open", "Open the other sets", "", "Opens the sets of the programme that are missing here."),
)
"""Name, text, key, tip."""

SHOWN = {
    "decision": ("accept", "query", "go"),
    "finding": ("go", "waive"),
    "not checked": ("open", "go"),
    "waiver": ("waive", "go", "remove"),
    "remark": ("remark", "close", "go"),
    "": ("go", "remark"),
}
"""Acts that stand as buttons, the primary one first; all others are in the menu."""


MOST_NAMES = 12
"""So many tables are named where many lines are chosen."""


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
        self.details.viewport().setAutoFillBackground(False)
        self.buttons: dict[str, QPushButton] = {}
        self.others: dict[str, QAction] = {}
        self._bar = QWidget()
        row = QHBoxLayout(self._bar)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(NEAR)
        self._menu = QMenu(self)
        self.more = quiet(QToolButton())
        self.more.setIcon(icon("ellipsis"))
        self.more.setToolTip("More that can be done")
        self.more.setAccessibleName("More that can be done")
        self.more.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.more.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.more.setMenu(self._menu)
        row.addWidget(self.more)
        row.addStretch(1)
        self._row = row
        for name, text, key, tip in BUTTONS:
            button = QPushButton(text)
            button.setToolTip(plain_tip(f"{tip} ({key})" if key else tip))
            button.clicked.connect(lambda _checked=False, name=name: self.ordered.emit(name))
            self.buttons[name] = button
            row.addWidget(button)
            action = self._menu.addAction(f"{text} ({key})" if key else text)
            action.triggered.connect(lambda _checked=False, name=name: self.ordered.emit(name))
            self.others[name] = action
        self.waive, self.decide, self.level = WaiveForm(), DecideForm(), LevelForm()
        self.remark, self.approve = RemarkForm(), ApproveForm()
        self._forms: tuple[Form, ...] = (
            self.waive, self.decide, self.level, self.remark, self.approve,
        )  # fmt: skip
        column = QVBoxLayout(self)
        column.setContentsMargins(NEAR, NEAR, NEAR, NEAR)
        column.setSpacing(NEAR)
        column.addWidget(self.details, 1)
        column.addWidget(self._bar)
        for one in self._forms:  # not stacked: a stack is as tall as its tallest page
            column.addWidget(one)
        self.show_form(None)

    def heightForWidth(self, width: int) -> int:
        """Leave the details few lines where a form needs the room."""
        form = self.form
        if form is None:
            lower = self._bar.sizeHint().height()
        else:
            lower = max(form.heightForWidth(width - 2 * NEAR), form.minimumSizeHint().height())
        upper = self.details.minimumHeight() if self.details.isVisibleTo(self) else 0
        return upper + lower + 3 * NEAR

    def show_form(self, form: Form | None) -> None:
        """Show a form, or none."""
        for one in self._forms:
            one.setVisible(one is form)
        # A list of what would be accepted takes the room: it says more than one line in full.
        self.details.setVisible(form is not self.decide or not self.decide.many)
        self._bar.setVisible(form is None)  # Esc brings the buttons back

    @property
    def form(self) -> Form | None:
        """The form that is shown."""
        return next((one for one in self._forms if one.isVisibleTo(self)), None)

    def first_button(self) -> QPushButton | None:
        """Return the primary act."""
        return next((b for b in self.buttons.values() if b.property(RANK) == "primary"), None)

    def show_lines(self, lines: list[Line], standing: Standing | None, group: str = "") -> None:
        """Show the chosen lines and what can be done about them.

        Parameters
        ----------
        lines : list of Line
        standing : Standing or None
        group : str
            The heading that was chosen, if all under it are meant.
        """
        self._show_buttons(lines, possible_acts(lines, standing))
        second = tones_of(self.palette()).second
        size = round(sized(QApplication.font(), "title").pointSizeF(), 1)
        if not lines:
            self.details.setHtml("<p>Nothing is chosen.</p>")
            return
        if len(lines) > 1:
            names = list(dict.fromkeys(x.title for x in lines if x.title))
            told = ", ".join(names[:MOST_NAMES])
            told += f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
            head = f"{group}: {len(lines)}" if group else f"{len(lines)} lines are chosen"
            self.details.setHtml(
                f"<p style='font-size:{size}pt'>{escape(head)}</p>"
                f"<p style='color:{second}'>{escape(told)}</p>"
            )
            return
        line = lines[0]
        parts = [f"<p style='font-size:{size}pt'>{escape(line.title or line.kind)}</p>"]
        under = " · ".join(p for p in (line.kind * bool(line.title), line.table) if p)
        parts.append(f"<p style='color:{second}'>{escape(under)}</p>" if under else "")
        parts.append(f"<p>{_lines(line.text)}</p>")
        if line.more:
            parts.append(f"<p style='color:{second}'>{_lines(line.more)}</p>")
        changes = standing.edits.get(line.table, ()) if standing is not None else ()
        if changes and standing is not None:
            rows = "".join(f"<li>{escape(text)}</li>" for text in changes)
            signed = "the last sign-off" if standing.since else "the beginning of its history"
            parts.append(f"<p>Changed since {signed}:</p><ul>{rows}</ul>")
        self.details.setHtml("".join(parts))

    def _show_buttons(self, lines: list[Line], possible: set[str]) -> None:
        """Show the few acts that the lines are for; the others are in the menu."""
        shown = [name for name in SHOWN[_sort_of(lines)] if name in possible]
        for name, button in self.buttons.items():
            button.setVisible(name in shown)
            self.others[name].setVisible(name in possible and name not in shown)
            (primary if shown and name == shown[0] else plain)(button)
        for name in reversed(shown):  # the primary one ends the row
            self._row.removeWidget(self.buttons[name])
            self._row.addWidget(self.buttons[name])
        self.more.setVisible(bool(possible - set(shown)))
        many = len(tables_of(lines)) > 1
        approving = [x.about for x in lines if isinstance(x.about, Waiver) and not x.about.approver]
        answering = any(isinstance(x.about, Remark) for x in lines)
        for name, text in (
            ("accept", f"Accept {len(tables_of(lines))} tables…" if many else "Accept"),
            ("waive", "Approve…" if approving else "Waive…"),
            ("remark", "Answer…" if answering else "Remark…"),
        ):
            key = next(k for n, _text, k, _tip in BUTTONS if n == name)
            self.buttons[name].setText(text)
            self.others[name].setText(f"{text} ({key})")


def _sort_of(lines: list[Line]) -> str:
    """Return what lines are about: a key of `SHOWN`."""
    if any(isinstance(x.about, Waiver) for x in lines):
        return "waiver"
    if any(isinstance(x.about, Remark) for x in lines):
        return "remark"
    kinds = {x.about.kind for x in lines if isinstance(x.about, Item)}
    if kinds and kinds <= {Obstacle.FINDING, Obstacle.RASTER}:
        return "finding"
    if kinds == {Obstacle.NOT_CHECKED}:
        return "not checked"
    if kinds & {Obstacle.DECISION, Obstacle.QUERY, Obstacle.RIGHTS}:
        return "decision"
    return "decision" if lines and all(x.key.startswith("table ") for x in lines) else ""


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
