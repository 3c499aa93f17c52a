"""The forms of a complaint: raise, answer, prove, drop."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtWidgets import QSizePolicy

from app.forms import Form, PathField
from app.plain import PlainLabel, plain_tip
from app.proving import RunFile
from app.quiet import QuietCombo
from app.road.needs import ShownMoment
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Complaint
from calib_model.errors import EditRefused
from calib_model.session.complaints import moment_words, next_number, tables_of
from calib_model.session.history import Entry

MOST_CHANGES = 200


class RaiseForm(Form):
    """A new complaint, of a moment of a recording or of none."""

    def __init__(self) -> None:
        super().__init__("New complaint")
        self.where = PlainLabel()
        self.where.setWordWrap(True)
        self.where.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.add("Heard in", self.where, "Recording and time")
        self.note = self.text_field(
            "What happened", "What was felt or seen", "", "Front spins before the rear takes hold"
        )
        self.number = self.text_field(
            "Number", "Number of the complaint", "What the team calls it."
        )
        self.by = self.text_field("From", "Who says so")
        self.moment: tuple[str, str, float] = ("", "", 0.0)
        self.tables: tuple[str, ...] = ()

    def start(
        self,
        content: CalibrationSet,
        by: str,
        moment: tuple[str, str, float] = ("", "", 0.0),
        tables: Sequence[str] = (),
    ) -> None:
        """Begin a new one: of (recording, digest, seconds) and the tables that decided there."""
        self.moment = moment
        self.tables = tuple(id for id in tables if id in content.tables)
        labels = [content.tables[id].label for id in self.tables]
        decided = f"; {labels[0]} decided" if labels else ""
        if len(labels) > 1:
            decided += f", {len(labels) - 1} more took part"
        self.where.setToolTip(plain_tip("\n".join(labels)))
        self.where.setText(
            moment_words(moment[0], moment[2])
            + decided
            + ("" if moment[0] else ": raise it from Recordings to tie it to a moment")
        )
        self.note.clear()
        self.number.setText(next_number(content))
        self.by.setText(self.by.text() or by)
        self.say("")


class AnswerForm(Form):
    """The change that answers a complaint."""

    def __init__(self) -> None:
        super().__init__("Answer")
        self.change = QuietCombo()
        self.add(
            "Change", self.change, "Change that answers it",
            "Changes of tables since the complaint was raised, the newest first.",
        )  # fmt: skip
        self.text = self.text_field("In words", "The answer in words", "", "What was changed")
        self.change.currentIndexChanged.connect(self._take)
        self._entries: list[Entry] = []

    def start(self, complaint: Complaint, entries: Sequence[Entry]) -> None:
        """Begin to answer a complaint by one of these changes."""
        self._entries = list(entries[:MOST_CHANGES])
        self.heading.setText(f"Answer {complaint.number}: {complaint.note}")
        self.change.blockSignals(True)
        self.change.clear()
        for entry in self._entries:
            self.change.addItem(f"{entry.time[11:16]} {entry.title}")
        self.change.addItem("Another, told below" if self._entries else "None yet; told below")
        self.change.setCurrentIndex(0)
        self.change.blockSignals(False)
        self._take()
        if complaint.answer:
            self.text.setText(complaint.answer)
        self.say("")

    @property
    def tables(self) -> tuple[str, ...]:
        """Ids of the tables that the chosen change touched."""
        row = self.change.currentIndex()
        return tables_of(self._entries[row]) if 0 <= row < len(self._entries) else ()

    def _take(self) -> None:
        row = self.change.currentIndex()
        if 0 <= row < len(self._entries):
            entry = self._entries[row]
            self.text.setText(f"{entry.title}: {entry.reason}" if entry.reason else entry.title)
        else:
            self.text.clear()


class ProveForm(Form):
    """The run after the change, which shows that the complaint is gone."""

    def __init__(self) -> None:
        super().__init__("Prove")
        self.recording = PathField("Recording of the run after the change")
        self.add("Recording", self.recording)
        self.at = self.text_field(
            "At", "Seconds into the recording", "", "Empty: where it comes to the same region"
        )
        self.note = self.text_field("What it shows", "What the run shows")
        self._known: tuple[str, str] = ("", "")

    def start(self, complaint: Complaint, shown: ShownMoment | None) -> None:
        """Begin to prove a complaint, by the moment that is shown."""
        self.heading.setText(f"Prove {complaint.number}: {complaint.note}")
        fresh = shown is not None and shown.sha256 != complaint.sha256
        self._known = (shown.recording, shown.sha256) if shown is not None and fresh else ("", "")
        self.recording.show_path(self._known[0])
        self.at.setText(f"{shown.seconds:.1f}" if shown is not None and fresh else "")
        self.note.clear()
        self.say("")

    def given(self, run_of: Callable[[str], RunFile | None]) -> tuple[RunFile, float | None]:
        """Return the recording, and seconds into it if they are given.

        Parameters
        ----------
        run_of : callable
            Finds the file of an open recording by its digest.

        Raises
        ------
        EditRefused
            If no recording is named, or the time is no number.
        """
        path, at = self.recording.path, self.at.text().strip()
        try:
            moment = float(at) if at else None
        except ValueError:
            raise EditRefused(f"{at!r} is no time.", "Write seconds, such as 83.4.") from None
        if path is None:
            raise EditRefused("A proof needs a recording.", "Name the run after the change.")
        shown = run_of(self._known[1]) if str(path) == self._known[0] else None
        return shown or RunFile(path), moment


class DropForm(Form):
    """Why nothing is done about a complaint."""

    def __init__(self) -> None:
        super().__init__("Drop")
        self.reason = self.text_field("Reason", "Why nothing is done about it")

    def start(self, complaint: Complaint) -> None:
        """Begin to drop a complaint."""
        self.heading.setText(f"Drop {complaint.number}: {complaint.note}")
        self.reason.clear()
        self.say("")
