"""The part Complaints: the list, the chosen one in full, and the forms that take it further."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from html import escape
from pathlib import Path

from PySide6.QtCore import QDateTime, QLocale, Qt
from PySide6.QtGui import QAction, QFocusEvent, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QMenu,
    QPushButton,
    QSplitter,
    QStackedWidget,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.forms import Form
from app.line_rows import Rows
from app.look.empty import EmptyPage, Way, act
from app.look.icons import icon
from app.look.parts import primary
from app.look.tokens import NEAR, TIGHT
from app.needs import Memory
from app.plain import plain_tip
from app.road.part import RoadPart
from app.things import belongs
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Complaint, Standing
from calib_model.core.times import moment_of
from calib_model.editing.change import Change
from calib_model.errors import BitepointError
from calib_model.session import complaints as steps
from calib_model.session.history import entries_of

from ..needs import ShownMoment
from .actions import STEPS
from .forms import AnswerForm, DropForm, ProveForm, RaiseForm
from .lines import complaint_lines
from .listing import ComplaintsView
from .papers import Paper, write_paper
from .possible import choose, next_step, why_not
from .proof_job import start_proof

NARROW = 760
EMPTY = (
    "What drivers complained of stands here, with the change that answers it and the run that "
    "shows it is gone. Open the run in Recordings, go to the moment and raise the complaint "
    "there: then it leads back to the cells that decided."
)


class ComplaintsPanel(RoadPart):
    """Complaints of the current set.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    memory : Memory
    """

    def __init__(
        self, desk: Desk, jobs: Jobs, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(desk, parent)
        self.jobs, self.memory = jobs, memory
        self.rows = Rows(self)
        self.view = ComplaintsView()
        belongs(self.view, "complaint")
        self.view.setModel(self.rows)
        self.view.setAccessibleName("Complaints, with how each stands")
        self._build()
        self.view.ordered.connect(self.act)
        self.view.selectionModel().selectionChanged.connect(lambda *_: self._show_chosen())
        self.rows.modelAboutToBeReset.connect(self._keep)
        self.rows.modelReset.connect(self._restore)
        self._kept = ""
        desk.current_changed.connect(self.refresh)
        desk.edited.connect(lambda _event: self.refresh())
        self.refresh()

    # -- building --------------------------------------------------------------------------------

    def _build(self) -> None:
        self.empty = EmptyPage()
        self.left = QStackedWidget()
        self.left.addWidget(self.view)
        self.left.addWidget(self.empty)
        self.details = QTextBrowser()
        self.details.setFrameShape(QFrame.Shape.NoFrame)
        self.details.setAccessibleName("The chosen complaint in full")
        self.details.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self._rows_of_steps = {row.id.partition(".")[2]: row for row in STEPS}
        self.next = primary(QPushButton())
        self.next.clicked.connect(lambda _checked=False: self.act(next_step(self.chosen)))
        self.new = self._button("new")
        self.more = QPushButton("More")
        self.more.setToolTip("Other steps of this complaint, and pages to write.")
        self.menu = QMenu(self.more)
        self.menu.setToolTipsVisible(True)
        self.steps = {name: self._entry(name) for name in self._rows_of_steps}
        self.menu.addSeparator()
        self.papers = [
            self._write_entry("Write the day's &summary…", Paper.DAY),
            self._write_entry("Write the change n&ote…", Paper.CHANGES),
        ]
        self.more.setMenu(self.menu)
        self.raise_form, self.answer_form = RaiseForm(), AnswerForm()
        self.prove_form, self.drop_form = ProveForm(), DropForm()
        self._forms: tuple[Form, ...] = (
            self.raise_form, self.answer_form, self.prove_form, self.drop_form,
        )  # fmt: skip
        self.raise_form.button("Raise (Enter)", self._raise)
        self.answer_form.button("Answer (Enter)", self._answer)
        self.prove_form.button("Prove (Enter)", self._prove)
        self.drop_form.button("Set aside (Enter)", self._drop)
        self._right = right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(NEAR, TIGHT, NEAR, NEAR)
        column.addWidget(self.details, 1)
        self._bar = QWidget()
        row = QHBoxLayout(self._bar)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(NEAR)
        row.addWidget(self.new)
        row.addStretch(1)
        row.addWidget(self.more)
        row.addWidget(self.next)
        column.addWidget(self._bar)
        for form in self._forms:
            form.left.connect(self._back)
            column.addWidget(form)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self._across.addWidget(self.left)
        self._across.addWidget(right)
        self._across.setStretchFactor(0, 3)
        self._across.setStretchFactor(1, 2)
        self._across.setSizes([620, 420])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._across)
        self._show_form(None)

    def _button(self, name: str) -> QPushButton:
        row = self._rows_of_steps[name]
        button = QPushButton(_short(row.text))
        button.setIcon(icon(row.icon))
        button.setToolTip(plain_tip(row.tip))
        button.clicked.connect(lambda _checked=False: self.act(name))
        return button

    def _entry(self, name: str) -> QAction:
        row = self._rows_of_steps[name]
        if row.menu.startswith("-") and not self.menu.isEmpty():
            self.menu.addSeparator()
        entry = self.menu.addAction(icon(row.icon), row.text)
        entry.setToolTip(plain_tip(row.tip))
        entry.triggered.connect(lambda _checked=False: self.act(name))
        return entry

    def _write_entry(self, text: str, paper: Paper) -> QAction:
        entry = self.menu.addAction(text)
        entry.triggered.connect(lambda _checked=False: self.write(paper))
        return entry

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Set the list above the details where both do not fit side by side."""
        super().resizeEvent(event)
        narrow = self.width() < NARROW
        self._across.setOrientation(
            Qt.Orientation.Vertical if narrow else Qt.Orientation.Horizontal
        )

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard to the list, or to the button that begins."""
        super().focusInEvent(event)
        self._focus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Begin a complaint where there is no list yet to take the key."""
        if event.key() == Qt.Key.Key_N and event.modifiers() == Qt.KeyboardModifier.NoModifier:
            self.act("new")
        else:
            super().keyPressEvent(event)

    def _focus(self) -> None:
        form = self.form
        if form is not None:
            form.setFocus(Qt.FocusReason.ShortcutFocusReason)
        elif self.rows.rowCount():
            self.view.setFocus(Qt.FocusReason.ShortcutFocusReason)
        else:
            self.empty.setFocus(Qt.FocusReason.ShortcutFocusReason)

    # -- what is shown -----------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the complaints of the current set."""
        document = self.desk.current
        self.rows.show(complaint_lines(document.content) if document is not None else ())
        self.left.setCurrentWidget(self.view if self.rows.rowCount() else self.empty)
        self._show_empty()
        self._show_chosen()

    def _show_empty(self) -> None:
        """Say how to begin; what belongs to a chosen complaint has no place beside it."""
        if self.desk.current is None:
            opens = Way("Open a set…", act(self, "file.open"), "Open calibration sets.", "Ctrl+O")
            self.empty.show_ways("No set is open", "Complaints are kept in the set.", [opens])
        else:
            self.empty.show_ways(
                "No complaints yet",
                EMPTY,
                [
                    Way("Go to the recordings", lambda: self.part_wanted.emit("recordings"),
                        "Show the part Recordings, where a complaint takes its moment.", "Ctrl+5"),
                    Way("New complaint without a recording", lambda: self.act("new"),
                        "Raise a complaint that names no moment.", "N"),
                ],
            )  # fmt: skip
        self._right.setVisible(bool(self.rows.rowCount()) or self.form is not None)

    def _keep(self) -> None:
        complaint = self.chosen
        self._kept = complaint.id if complaint is not None else ""

    def _restore(self) -> None:
        if self.rows.rowCount():
            self._choose(self._kept)

    def _choose(self, key: str) -> None:
        self.view.setCurrentIndex(self.rows.index(self.rows.places().get(key, 0)))

    @property
    def chosen(self) -> Complaint | None:
        """The chosen complaint."""
        rows = self.view.selectionModel().selectedRows() if self.view.selectionModel() else []
        line = self.rows.line(rows[0].row()) if rows else None
        return line.complaint if line is not None else None

    def _show_chosen(self) -> None:
        document, complaint = self.desk.current, self.chosen
        choose(self.desk, complaint)
        for name, entry in self.steps.items():
            why = why_not(self.desk, name)
            entry.setEnabled(not why)
            entry.setToolTip(plain_tip("\n".join(filter(None, (self._tip(name), why)))))
        for entry in self.papers:
            entry.setEnabled(document is not None)
        dropped = complaint is not None and complaint.standing is Standing.DROPPED
        text = "Take &up again (D)" if dropped else self._rows_of_steps["drop"].text
        self.steps["drop"].setText(text)
        step = next_step(complaint)
        why = why_not(self.desk, step)
        self.next.setText(_short(self.steps[step].text()))
        self.next.setEnabled(not why)
        self.next.setToolTip(plain_tip("\n".join(filter(None, (self._tip(step), why)))))
        self.new.setVisible(step != "new")
        self.new.setEnabled(not why_not(self.desk, "new"))
        if complaint is None or document is None:
            self.details.setHtml("<p>No complaint is chosen.</p>" if self.rows.rowCount() else "")
            return
        self.details.setHtml(_details(complaint, document.content))

    def _tip(self, name: str) -> str:
        return self._rows_of_steps[name].tip

    # -- acts --------------------------------------------------------------------------------------

    def act(self, order: str) -> None:
        """Do what a key or a button of the list stands for."""
        complaint, document = self.chosen, self.desk.current
        if document is None:
            return
        if order == "new":
            self.raise_at(*(self.shown_moment() or ShownMoment()))
        elif complaint is None:
            self.desk.tell("No complaint is chosen.", refused=True)
        elif order == "moment":
            self._go_to_moment(complaint)
        elif order.startswith("table"):
            number = int(order.partition(" ")[2] or 1)
            self._go_to_table(complaint, number - 1)
        elif order == "answer":
            entries = steps.possible_answers(entries_of(document), complaint)
            self.answer_form.start(complaint, entries)
            self._show_form(self.answer_form, self.answer_form.change)
        elif order == "prove":
            self.prove_form.start(complaint, self.shown_moment())
            self._show_form(self.prove_form, self.prove_form.recording)
        elif order == "drop" and complaint.standing is Standing.DROPPED:
            self.do(lambda: steps.taken_up(complaint))
        elif order == "drop":
            self.drop_form.start(complaint)
            self._show_form(self.drop_form, self.drop_form.reason)
        elif order == "remove":
            self.do(lambda: steps.removed(complaint))

    def raise_at(
        self, recording: str, sha256: str, moment: float, tables: Sequence[str] = ()
    ) -> None:
        """Begin a complaint about a moment of a recording.

        Parameters
        ----------
        recording, sha256 : str
            Name and digest; empty for none.
        moment : float
            Seconds into it.
        tables : sequence of str
            Ids of the tables that decided there.
        """
        document = self.desk.current
        if document is None:
            self.desk.tell("No set is open to take the complaint.", refused=True)
            return
        self.raise_form.start(
            document.content, self.memory.author, (recording, sha256, moment), tables
        )
        self._show_form(self.raise_form, self.raise_form.note)

    def _go_to_moment(self, complaint: Complaint) -> None:
        if complaint.sha256:
            self.moment_wanted.emit(complaint.sha256, complaint.moment)
        else:
            self.desk.tell(f"{complaint.number} names no recording.", refused=True)

    def _go_to_table(self, complaint: Complaint, number: int) -> None:
        if number >= len(complaint.tables):
            number = len(complaint.tables)
            named = f"{number} table" if number == 1 else f"{number} tables"
            self.desk.tell(f"{complaint.number} names {named}.", refused=True)
            return
        self.desk.open_table(complaint.tables[number])
        self.jumped.emit()

    def _raise(self) -> None:
        document, form = self.desk.current, self.raise_form
        if document is None:
            return
        name, sha256, moment = form.moment
        content = document.content
        self.do(
            lambda: steps.raised(
                content,
                form.note.text(),
                by=form.by.text(),
                number=form.number.text(),
                recording=name,
                sha256=sha256,
                moment=moment,
                tables=form.tables,
            ),
            form,
        )

    def _answer(self) -> None:
        document, complaint, form = self.desk.current, self.chosen, self.answer_form
        if document is not None and complaint is not None:
            content = document.content
            self.do(lambda: steps.answered(content, complaint, form.text.text(), form.tables), form)

    def _prove(self) -> None:
        complaint = self.chosen
        if complaint is not None:
            start_proof(self.desk, self.jobs, complaint, self.prove_form, self.run_wanted, self.do)

    def _drop(self) -> None:
        complaint, form = self.chosen, self.drop_form
        if complaint is not None:
            self.do(lambda: steps.dropped(complaint, form.reason.text()), form)

    def do(self, make: Callable[[], Change], form: Form | None = None) -> None:
        """Apply a change; a refusal is said in its form, which stays."""
        try:
            change = make()
        except BitepointError as refusal:
            if form is not None:
                form.say(str(refusal), refused=True)
            else:
                self.desk.tell(str(refusal), refused=True)
            return
        if self.desk.do(change):
            newest = form is self.raise_form
            self._back()
            if newest and change.edits:
                after = getattr(change.edits[0], "after", None)
                self._choose(getattr(after, "id", ""))

    def write(self, paper: Paper, path: Path | None = None) -> None:
        """Write the day's summary or the change note, to a file that is asked for."""
        document = self.desk.current
        if document is None:
            return
        if path is None:
            day = datetime.now().astimezone().date()
            name = f"{document.content.label} {paper.value} {day}.html".replace(",", "")
            start = self.memory.remembered("complaints/folder") or str(Path.home())
            chosen, _ = QFileDialog.getSaveFileName(
                self, "Write", str(Path(start) / name), "Web page (*.html)"
            )
            if not chosen:
                return
            path = Path(chosen)
            self.memory.remember("complaints/folder", str(path.parent))
        try:
            write_paper(paper, document, self.desk.report, path)
        except BitepointError as refusal:
            self.desk.tell(str(refusal), refused=True)
        else:
            self.desk.tell(f"Wrote {path}.")

    # -- forms -------------------------------------------------------------------------------------

    @property
    def form(self) -> Form | None:
        """The form that is shown."""
        return next((one for one in self._forms if one.isVisibleTo(self)), None)

    def _show_form(self, form: Form | None, first: QWidget | None = None) -> None:
        for one in self._forms:
            one.setVisible(one is form)
        self._bar.setVisible(form is None)
        self._right.setVisible(form is not None or bool(self.rows.rowCount()))
        if first is not None:
            first.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _back(self) -> None:
        """Esc, or done: the buttons come back, and the list has the keyboard."""
        self._show_form(None)
        self._focus()


def _details(complaint: Complaint, content: CalibrationSet) -> str:
    named = [
        f"{number}: {content.tables[id].label if id in content.tables else id}"
        for number, id in enumerate(complaint.tables, start=1)
    ]
    parts = [
        f"<p><b>{escape(complaint.number)}</b>: {escape(complaint.note)}</p>",
        f"<p>{escape(steps.moment_words(complaint.recording, complaint.moment))}</p>",
    ]
    if named:
        parts.append(f"<p>Tables, the deciding one first: {escape('; '.join(named))}</p>")
    parts.append(
        f"<p>{escape(steps.words(complaint)[:1].upper() + steps.words(complaint)[1:])}.</p>"
    )
    if complaint.proof_recording:
        where = steps.moment_words(complaint.proof_recording, complaint.proof_moment)
        parts.append(f"<p>Proof: {escape(where)}</p>")
    parts.append(f"<p><i>{escape(complaint.by)}, {escape(_local(complaint.time))}</i></p>")
    return "".join(parts)


def _local(text: str) -> str:
    """Return a time in the user's zone and form; the text itself if it is none."""
    moment = moment_of(text)
    if moment is None:
        return text
    local = QDateTime.fromSecsSinceEpoch(int(moment.timestamp()))
    return QLocale().toString(local, QLocale.FormatType.ShortFormat)


def _short(text: str) -> str:
    """Return what a button says: the words of a menu's row without its mnemonic."""
    return text.replace("&", "")
