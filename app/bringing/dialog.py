"""The page of Bring in: what was understood, what is doubtful, what is left out, before it is
taken."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QPushButton,
    QWidget,
)

from app.desk import Desk
from app.look.chip import chip_icon
from app.plain import plain_tip
from app.work.jobs import Job, Jobs
from calib_model.bringing.draft import Draft
from calib_model.bringing.found import Doubt
from calib_model.bringing.layout import Layout, read_layout, write_layout
from calib_model.bringing.understanding import Understood, to_remember
from calib_model.editing.change import Change
from calib_model.errors import BitepointError
from calib_model.foreign_text import plain_line
from calib_model.session.document import Document

from .offer import CONFIRM, Offer, Row
from .prompts import Prompts
from .reading import Read, paths_of, read_again, read_files
from .view import BringInView

NOTHING_YET = "Name files or a folder above. Nothing is taken before you say so."
Take = Callable[[Document | None, Change], None]
"""Given the set that the change is of (None for a new one)."""


class BringInDialog(BringInView):
    """What was understood of other files, and the act that takes it.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    take : callable
        Takes the change; see `Take`.
    folder : Path
        Where files are looked for first.
    layout : Layout
        What was chosen before.
    parent : QWidget, optional
    """

    def __init__(
        self,
        desk: Desk,
        jobs: Jobs,
        take: Take,
        folder: Path,
        layout: Layout,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._desk, self._jobs, self._take, self._folder = desk, jobs, take, folder
        self.chosen_layout = layout
        self.offer: Offer | None = None
        self._paths: list[Path] = []
        self._job: Job | None = None
        self.prompts = Prompts(self)
        self._connect()
        self._show_offer()
        if parent is not None:
            self.resize(parent.size() * 0.94)

    def _connect(self) -> None:
        self.source.returnPressed.connect(self._read_typed)
        self.files.clicked.connect(lambda _c=False: self._ask_files())
        self.folder.clicked.connect(lambda _c=False: self._ask_folder())
        self.stop.clicked.connect(lambda _c=False: self._give_up())
        self.load.clicked.connect(lambda _c=False: self._load_layout())
        self.keep.clicked.connect(lambda _c=False: self._save_layout())
        self.target.activated.connect(lambda _n: self._retarget())
        self.filter.textChanged.connect(lambda _t: self._narrow())
        self.filter.returnPressed.connect(self.list.setFocus)
        self.doubtful_only.toggled.connect(lambda _on: self._narrow())
        self.doubts.settled.connect(self._settle)
        self.list.moved.connect(self._show_row)
        self.list.turned_over.connect(self._turn_over)
        self.list.entered.connect(self._enter)
        self.form.chosen.connect(self._choose)
        self.form.axis_chosen.connect(self._choose_axis)
        self.form.file_chosen.connect(self._choose_file)
        self.form.refused.connect(lambda text: self._say(text, refused=True))
        self.confirm_all.clicked.connect(lambda _c=False: self._confirm_all())
        self.by_files.clicked.connect(lambda _c=False: self._name_by_files())
        self.drop_blocked.clicked.connect(lambda _c=False: self._drop_blocked())
        self.cancel.clicked.connect(lambda _c=False: self.reject())
        self.act.clicked.connect(lambda _c=False: self.accept())
        for keys, run in (
            ("Ctrl+Return", self.accept),
            ("F8", self._next_doubt),
        ):
            QShortcut(QKeySequence(keys), self, run)
        slash = QShortcut(QKeySequence("/"), self.list, self.filter.setFocus)
        slash.setContext(Qt.ShortcutContext.WidgetShortcut)
        self._fill_targets()

    def _fill_targets(self) -> None:
        self.target.clear()
        self.target.addItem("A new set", None)
        for document in self._desk.documents:
            if not document.read_only:
                letter = chip_icon(self._desk.number(document))
                self.target.addItem(letter, plain_line(document.title), document)

    # -- reading -----------------------------------------------------------------------------

    def read(self, paths: Sequence[Path]) -> None:
        """Read files beside the window, and show what was understood of them."""
        self._paths = list(paths)
        first = str(self._paths[0]) if self._paths else ""
        more = f" and {len(self._paths) - 1} more" if len(self._paths) > 1 else ""
        self.source.setText(f"{first}{more}")
        self._start("Reading tables", read_files, self._paths, self.chosen_layout, done=self._read)

    def _read_typed(self) -> None:
        try:
            paths = paths_of(self.source.text())
        except BitepointError as error:
            self._say(str(error), refused=True)
            return
        typed = self.source.text()
        self.read(paths)
        self.source.setText(typed)

    def _start(self, title: str, work: Any, *arguments: Any, done: Any) -> None:
        self._give_up()
        self._say("")
        self._job = self._jobs.start(
            title, work, *arguments, done=done, failed=self._failed, cancellable=True
        )
        self._job.progressed.connect(self._progressed)
        self._job.ended.connect(partial(self._ended, self._job))
        self._show_busy()

    def _progressed(self, part: float, text: str) -> None:
        self.progress.setValue(int(part * 1000))
        self.progress.setToolTip(plain_tip(text))

    def _ended(self, job: Job) -> None:
        if self._job is job:
            self._job = None
            self._show_busy()

    def _give_up(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self._say("The reading was given up; nothing was taken.")
            self._show_busy()

    def _show_busy(self) -> None:
        busy = self._job is not None
        self.progress.setVisible(busy)
        self.stop.setVisible(busy)
        self.progress.setValue(0)
        for button in (self.files, self.folder, self.load, self.keep):
            button.setVisible(not busy)
        self._show_acts()

    def _read(self, read: Read) -> None:
        self.offer = Offer(read.understood, read.refused, self._content())
        for key, line in self.about.items():
            line.setPlaceholderText(read.understood.about.get(key, ""))
        self._show_offer()
        self.list.go(self.list.rows.first())
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _read_again(self, understood: Understood) -> None:
        if self.offer is not None:
            self.offer.replace(understood)
            self._show_offer()

    def _failed(self, error: BitepointError) -> None:
        self._say(f"Nothing was taken. {error}", refused=True)
        self._show_row(self.list.row())  # a choice that did not hold is not shown as if it did

    # -- showing -----------------------------------------------------------------------------

    def _document(self) -> Document | None:
        found = self.target.currentData()
        return found if isinstance(found, Document) else None

    def _content(self) -> Any:
        document = self._document()
        return document.content if document is not None else None

    def _retarget(self) -> None:
        if self.offer is not None:
            self.offer.set_target(self._content())
        self._show_offer()

    def _show_offer(self) -> None:
        """Show the rows anew; the chosen one stays so, or else the next one."""
        new = self._document() is None
        for widget in (*self._about_labels, *self.about.values()):
            widget.setVisible(new)
        row, place = self.list.row(), self.list.currentIndex().row()
        self.list.rows.show_rows(self.offer.rows() if self.offer is not None else [])
        if self.offer is not None:
            self.chosen_layout = self.offer.understood.layout
        index = self.list.rows.index_of(row.key) if row is not None else self.list.rows.first()
        if not index.isValid():
            index = self.list.rows.first(place - 1)
        self.list.go(index if index.isValid() else self.list.rows.first())
        self._show_row(self.list.row())
        self._show_acts()

    def _show_acts(self) -> None:
        offer, busy = self.offer, self._job is not None
        taken = len(offer.coming) if offer is not None else 0
        doubtful = len(offer.doubtful) if offer is not None else 0
        blocked = len(offer.blocked) if offer is not None else 0
        removed = len(offer.removed) if offer is not None else 0
        count = f"{taken} table{'' if taken == 1 else 's'}"
        self.act.setText(f"&Bring in {count}" if taken else "&Bring in")
        self.act.setEnabled(bool(taken or removed) and not doubtful and not busy)
        if doubtful:
            why = "Settle or confirm what is doubtful first (F8 goes to the next one)."
            self.act.setToolTip(plain_tip(why))
        else:
            self.act.setToolTip("Take the tables as one change (Ctrl+Enter).")
        self.confirm_all.setVisible(doubtful > blocked)
        self.confirm_all.setText(f"Con&firm {doubtful - blocked} doubtful")
        named = len(offer.of_files()) if offer is not None else 0
        self.by_files.setVisible(bool(named))
        self.by_files.setText(f"&Name {named} by their files")
        self.drop_blocked.setVisible(bool(blocked))
        self.drop_blocked.setText(f"Leave out &what cannot be taken ({blocked})")
        self.keep.setEnabled(offer is not None)
        self.summary.setText(offer.summary() if offer is not None else NOTHING_YET)

    def _narrow(self) -> None:
        row = self.list.row()
        self.list.rows.narrow(self.filter.text(), doubtful=self.doubtful_only.isChecked())
        index = self.list.rows.index_of(row.key) if row is not None else self.list.rows.first()
        self.list.go(index if index.isValid() else self.list.rows.first())
        self._show_row(self.list.row())

    def _show_row(self, row: Row | None) -> None:
        draft = row.draft if row is not None else None
        shown = draft is not None and self.offer is not None
        self.form.setVisible(shown)
        self.form.alike.setVisible(shown)
        self.details.setVisible(shown)
        self.heading.setText(row.title if row is not None else "")
        self.doubts.show_doubts(row.doubts if row is not None and shown else ())
        if row is None or draft is None or self.offer is None:
            empty = self.offer is not None and not self.offer.rows()
            words = "Nothing in these files looks like a table." if empty else ""
            self.where.setText("")
            self.legend.setText(words if row is None else row.detail)
            self.cells.setVisible(False)
            return
        self.where.setText(draft.where)
        understood = self.offer.understood
        from_cells = self.cells.show_source(understood, draft)
        self.cells.setVisible(from_cells)
        notes = " ".join(draft.notes)
        told = "As the file has it: headings bold, breakpoints tinted, values plain, the rest grey."
        if not from_cells:
            told = f"It comes from {draft.found.form} {draft.found.where}, not from cells."
        self.legend.setText(f"{told} {notes}".strip())
        turned = bool(understood.layout.for_table(draft.source, draft.key).turned)
        self.form.show_draft(
            draft, self.offer.file_choice(draft), turned=turned, from_cells=from_cells,
            is_text="|" not in draft.source,
        )  # fmt: skip
        count = len(self.offer.alike(draft))
        self.form.alike.setText(
            f"Choices count for a&ll {count} alike" if count > 1 else "No other table is alike"
        )
        self.form.alike.setEnabled(count > 1)
        self.form.alike.setToolTip("Tables of the same form with the same doubts; not id and name.")

    def _say(self, text: str, *, refused: bool = False) -> None:
        self.told.setText(f"\N{WARNING SIGN} {text}" if refused and text else text)

    # -- choosing ----------------------------------------------------------------------------

    def _draft(self) -> Draft | None:
        row = self.list.row()
        return row.draft if row is not None else None

    def _drafts(self, *, one: bool = False) -> list[Draft]:
        draft = self._draft()
        if draft is None or self.offer is None:
            return []
        if one or not (self.form.alike.isChecked() and self.form.alike.isEnabled()):
            return [draft]
        return self.offer.alike(draft)

    def _tried(self, choose: Callable[[], None]) -> None:
        self._say("")
        try:
            choose()
        except BitepointError as error:
            self._say(str(error), refused=True)
        self._show_offer()

    def _choose(self, chosen: dict[str, Any]) -> None:
        if self.offer is not None:
            own = bool(chosen.keys() & {"id", "name"})
            self._tried(partial(self.offer.choose, self._drafts(one=own), **chosen))

    def _choose_axis(self, number: int, chosen: dict[str, Any]) -> None:
        if self.offer is not None:
            self._tried(partial(self.offer.choose_axis, self._drafts(), number, **chosen))

    def _choose_file(self, chosen: dict[str, Any]) -> None:
        draft = self._draft()
        if self.offer is None or draft is None:
            return
        every = self.form.alike.isChecked() and self.form.alike.isEnabled()
        layout = self.offer.file_layout(draft, all_files=every, **chosen)
        self._start(
            "Reading tables", read_again, self.offer.understood, layout, done=self._read_again
        )

    def _settle(self, doubt: Doubt, choice: str) -> None:
        draft, offer = self._draft(), self.offer
        if draft is None or offer is None:
            return
        if doubt.about == "numbers" and choice != CONFIRM:
            self._choose_file({"decimal": choice})
        else:
            drafts = self._drafts(one=doubt.about == "id")
            self._tried(partial(offer.settle, draft, drafts, doubt.about, choice))
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _turn_over(self, row: Row) -> None:
        if self.offer is not None:
            self._tried(partial(self.offer.turn_over, row))

    def _confirm_all(self) -> None:
        if self.offer is not None:
            drafts = [r.draft for r in self.offer.doubtful if r.draft is not None and not r.blocked]
            self._tried(partial(self.offer.confirm, drafts))
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _name_by_files(self) -> None:
        if self.offer is not None:
            self._tried(self.offer.name_by_files)
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _drop_blocked(self) -> None:
        if self.offer is not None:
            self._tried(self.offer.leave_out_blocked)
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _next_doubt(self) -> None:
        rows = self.list.rows
        index = rows.first(self.list.currentIndex().row(), doubtful=True)
        self.list.go(index if index.isValid() else rows.first(doubtful=True))
        self.list.setFocus(Qt.FocusReason.OtherFocusReason)

    def _enter(self) -> None:
        if self.doubts.buttons:
            self.doubts.buttons[0].setFocus(Qt.FocusReason.TabFocusReason)
        elif self.form.isVisible():
            self.form.id.setFocus(Qt.FocusReason.TabFocusReason)

    # -- files -------------------------------------------------------------------------------

    def _ask_files(self) -> None:
        paths = self.prompts.files(self._folder)
        if paths:
            self.read(paths)

    def _ask_folder(self) -> None:
        path = self.prompts.folder(self._folder)
        if path is not None:
            self.read([path])

    def _load_layout(self) -> None:
        path = self.prompts.layout(self._folder)
        if path is not None:
            self.use_layout(path)

    def _save_layout(self) -> None:
        path = self.prompts.layout_to_save(self._folder)
        if path is not None:
            self.keep_layout(path)

    def use_layout(self, path: Path) -> None:
        """Use what a file says was chosen."""
        try:
            self.chosen_layout = read_layout(path)
        except BitepointError as error:
            self._say(str(error), refused=True)
            return
        if self._paths:
            self.read(self._paths)

    def keep_layout(self, path: Path) -> None:
        """Write what is chosen, and an entry for each doubt that is left."""
        if self.offer is None:
            return
        try:
            write_layout(to_remember(self.offer.understood), path)
        except BitepointError as error:
            self._say(str(error), refused=True)
            return
        self._say(f"The layout is saved as {path.name}.")

    # -- taking ------------------------------------------------------------------------------

    def accept(self) -> None:
        """Take what is chosen as one change, or say why not; nothing is half taken."""
        if self.offer is None or self._job is not None:
            return
        if not self.act.isEnabled():
            self._say(self.act.toolTip() if self.offer.doubtful else "There is nothing to take.",
                      refused=True)  # fmt: skip
            return
        about = {
            key: line.text().strip() or line.placeholderText() for key, line in self.about.items()
        }
        try:
            change = self.offer.change(**about)
            if change.is_empty:
                self._say("Nothing changes: every table is the same.")
                return
            self._take(self._document(), change)
        except BitepointError as error:
            self._say(str(error), refused=True)
            return
        super().accept()

    def done(self, result: int) -> None:
        """Close the page; a reading that still runs is given up."""
        self._give_up()
        super().done(result)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc in a field goes back to the list; in the list it closes the page."""
        focus = self.focusWidget()
        inside = focus is not None and (
            self.details.isAncestorOf(focus) or focus in (self.filter, self.cells)
        )
        if event.key() == Qt.Key.Key_Escape and inside:
            self.list.setFocus(Qt.FocusReason.OtherFocusReason)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if isinstance(focus, QPushButton):
                focus.click()
        else:
            super().keyPressEvent(event)
