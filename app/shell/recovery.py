"""Edits that were not saved when Bitepoint last ended: which file, when, how many; open them,
compare them, or discard them.  The original file is never written to."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QPlainTextEdit,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.plain import PlainLabel, plain_tip
from app.work.control import Control
from calib_model.errors import BitepointError
from calib_model.session import recovery as session
from calib_model.store import list_leftovers

from .base import Shell
from .files import FileWork
from .help_pages import PageDialog

RELATIONS = {
    "unchanged": "The file is as it was when the edits began.",
    "saved": "The file holds a later save; only the edits after it are missing.",
    "changed": "Another program wrote to the file since.",
    "missing": "The file is gone or cannot be read; a copy of it was kept.",
    "untitled": "The set was never saved.",
    "unknown": "Which file it was is not known any more; a copy of it was kept.",
}


class RecoveryWork(QObject):
    """Looks for left-over journals and offers what they hold.

    Attributes
    ----------
    leftovers : list of Leftover
        What was found and neither opened nor discarded.
    """

    def __init__(self, window: Shell, files: FileWork) -> None:
        super().__init__(window)
        self._window, self._files = window, files
        self.leftovers: list[Any] = []
        self.dialog: RecoveryDialog | None = None

    # -- finding -------------------------------------------------------------------------------

    def look(self) -> None:
        """Offer what an earlier start left behind, once and quietly."""
        self._find(self._offer)

    def show(self) -> None:
        """Open the list of what can be recovered."""
        if self.leftovers:
            self._open_list()
        else:
            self._find(self._show_found)

    def _find(self, done: Any) -> None:
        self._window.jobs.start("Looking for unsaved edits", _list_leftovers, done=done)

    def _take(self, found: list[Any]) -> None:
        known = {left.folder for left in self.leftovers}
        self.leftovers += [left for left in found if left.folder not in known]

    def _offer(self, found: list[Any]) -> None:
        self._take(found)
        if not self.leftovers:
            return
        if len(self.leftovers) == 1:
            left = self.leftovers[0]
            text = (
                f"Bitepoint stopped unexpectedly on {when_words(left)}: {edits_words(left)} of "
                f"{name_of(left)} were not saved and can be brought back."
            )
        else:
            text = (
                f"Bitepoint stopped unexpectedly: unsaved edits of {len(self.leftovers)} sets can "
                "be brought back."
            )
        self._window.banners.show_banner(
            "recovery", text, ("Show…", self.show), ("Later", self.leave)
        )

    def _show_found(self, found: list[Any]) -> None:
        self._take(found)
        if self.leftovers:
            self._open_list()
        else:
            self._window.desk.tell("There are no unsaved edits of an earlier start.")

    def _open_list(self) -> None:
        self._window.banners.drop("recovery")
        self.dialog = RecoveryDialog(self, self._window)
        self.dialog.open()

    def leave(self) -> None:
        """Leave everything for another time; it is offered at the next start again."""
        for left in self.leftovers:
            left.release()
        self.leftovers.clear()

    # -- what can be done ------------------------------------------------------------------------

    def open(self, left: Any) -> None:
        """Open a set with its unsaved edits."""
        already = left.path is not None and self._files.document_at(left.path)
        if already:
            if already.is_modified:
                self._window.desk.tell(
                    f"{already.title} is open with other edits. Save or close it first.",
                    refused=True,
                )
                return
            self._files.close(already)
        self._window.jobs.start(
            f"Recovering {name_of(left)}",
            _put_together,
            left,
            done=lambda found: self._opened(left, found),
            failed=self._failed,
        )

    def _opened(self, left: Any, found: session.Recovered) -> None:
        window = self._window
        document = session.recovered_document(left, found, window.settings.author)
        self._forget(left)
        self._files.take_in(document)
        window.desk.set_current(document)
        count = len(found.changes)
        edits = "1 edit is" if count == 1 else f"{count} edits are"
        window.desk.tell(
            f"{edits} back in {document.title}, not saved yet. {found.problem}".strip()
        )

    def compare(self, left: Any, say: Any) -> None:
        """Say in words, through `say`, what the edits change in the file as it is now."""
        self._window.jobs.start(
            f"Comparing {name_of(left)}",
            _compare,
            left,
            done=lambda lines: say("\n".join(lines)),
            failed=lambda error: say(str(error)),
        )

    def discard(self, left: Any) -> None:
        """Throw unsaved edits away, after asking."""
        if self._files.prompts.confirm(
            f"Discard {edits_words(left)} of {name_of(left)}?",
            "They cannot be brought back. The file stays as it is.",
            "Discard",
        ):
            left.discard()
            self._forget(left)

    def _forget(self, left: Any) -> None:
        self.leftovers.remove(left)
        if self.dialog is not None:
            self.dialog.refresh()

    def _failed(self, error: BitepointError) -> None:
        self._window.desk.tell(str(error), refused=True)
        if self.dialog is not None:
            self.dialog.details.setPlainText(str(error))

    # -- for the crash dialog ----------------------------------------------------------------------

    def where(self) -> str:
        """Say where the recovery copies of unsaved edits lie."""
        folders = [
            f"{document.title}: {session.journal_folder(document)}"
            for document in self._window.desk.documents
            if session.journal_folder(document)
        ]
        if not folders:
            return "There are no unsaved edits."
        return "Unsaved edits are kept for recovery in " + "; ".join(folders) + "."


class RecoveryDialog(PageDialog):
    """The list of what can be recovered."""

    def __init__(self, work: RecoveryWork, parent: QWidget) -> None:
        super().__init__("Recover unsaved edits", parent, 860, 480)
        self._work = work
        self.table = QTableWidget()
        self.table.setAccessibleName("Sets with unsaved edits")
        self.table.setColumnCount(4)
        self.table.setHorizontalHeaderLabels(["Set", "Last edit", "Edits", "The file now"])
        self.table.verticalHeader().hide()
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setTabKeyNavigation(False)
        header = self.table.horizontalHeader()
        for column in range(3):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(3, QHeaderView.ResizeMode.Stretch)
        self.details = QPlainTextEdit()
        self.details.setReadOnly(True)
        self.details.setTabChangesFocus(True)
        self.details.setAccessibleName("What the unsaved edits change")
        self.details.setPlaceholderText("Compare shows here what the unsaved edits change.")
        self.note = PlainLabel(
            "Nothing here writes to the files. Opened edits are unsaved edits, which you can "
            "undo, save, or save as another file."
        )
        self.note.setWordWrap(True)
        row = QHBoxLayout()
        self.open_button = QPushButton("&Open with the edits")
        self.compare_button = QPushButton("Co&mpare")
        self.discard_button = QPushButton("&Discard…")
        for button, run in (
            (self.open_button, work.open),
            (self.compare_button, self._compare),
            (self.discard_button, work.discard),
        ):
            button.setAutoDefault(False)
            button.clicked.connect(lambda _checked=False, run=run: self._do(run))
            row.addWidget(button)
        row.addStretch(1)
        self.put(self.note)
        self.put(self.table)
        self.column.insertLayout(self.column.count() - 1, row)
        self.put(self.details)
        self.table.currentCellChanged.connect(lambda *_: self._show())
        self.finished.connect(self._on_finished)
        self.refresh()
        self.table.setFocus()

    def refresh(self) -> None:
        """List what is left."""
        self.table.setRowCount(len(self._work.leftovers))
        for row, left in enumerate(self._work.leftovers):
            texts = (
                name_of(left),
                when_words(left),
                str(left.edits),
                RELATIONS.get(str(left.relation), str(left.relation)),
            )
            for column, text in enumerate(texts):
                item = QTableWidgetItem(text)
                item.setToolTip(plain_tip(_place_of(left) if column == 0 else text))
                self.table.setItem(row, column, item)
        if self._work.leftovers:
            self.table.setCurrentCell(0, 0)
            self._show()
        else:
            self.accept()

    @property
    def chosen(self) -> Any:
        """The chosen left-over, or None."""
        row = self.table.currentRow()
        return self._work.leftovers[row] if 0 <= row < len(self._work.leftovers) else None

    def _show(self) -> None:
        left = self.chosen
        if left is None:
            self.details.clear()
            return
        lines = [f"File: {_place_of(left)}", f"Recovery copy: {left.folder}"]
        if left.damaged:
            lines.append("The record of edits was cut off: the very last edit may be missing.")
        self.details.setPlainText("\n".join(lines))

    def _compare(self, left: Any) -> None:
        self._work.compare(left, lambda text: self._say(left, text))

    def _say(self, left: Any, text: str) -> None:
        if self._work.dialog is self and self.chosen is left:
            self.details.setPlainText(text)

    def _do(self, run: Any) -> None:
        left = self.chosen
        if left is not None:
            run(left)

    def _on_finished(self) -> None:
        self._work.dialog = None
        # What was looked at and left is offered at the next start again.
        self._work.leave()


def name_of(left: Any) -> str:
    """Return the name of the set."""
    if left.path is not None:
        return str(left.path.name)
    unknown = str(left.relation) == "unknown"
    return "a set whose file is not known" if unknown else "a set that was never saved"


def _place_of(left: Any) -> str:
    if left.path is not None:
        return str(left.path)
    return "not known" if str(left.relation) == "unknown" else "never saved"


def when_words(left: Any) -> str:
    """Return the time of the last edit, in the user's time zone."""
    return str(left.when.astimezone().strftime("%Y-%m-%d %H:%M"))


def edits_words(left: Any) -> str:
    """Return the number of edits in words."""
    return "1 edit" if left.edits == 1 else f"{left.edits} edits"


def _list_leftovers(_control: Control) -> list[Any]:
    return list_leftovers()


def _put_together(_control: Control, left: Any) -> session.Recovered:
    return session.put_together(left)


def _compare(_control: Control, left: Any) -> list[str]:
    return session.compare_words(left, session.put_together(left))
