"""The bar above the plots: which recording, which set was in the vehicle, and the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QSizePolicy,
    QWidget,
)

from app.look.parts import switch
from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo
from app.road.recordings.service import OpenDrive, Recordings
from app.road.tools import PartTools
from calib_model.foreign_text import plain_line

if TYPE_CHECKING:
    from calib_model.evidence.replay import Replay

TOOLS = {
    "road.open": "Open",
    "road.full_plot": "Whole screen",
    "road.evidence": "Evidence",
    "road.complain": "Complaint",
}
MORE = ("road.newest", "road.watch", "road.close", "-", "road.channels", "road.faults")
"""Acts of the bar: as buttons, and in its menu."""
NAMED = 2
"""Parts of the law that a set lacks, named in the verdict; the rest are counted."""


class RecordingsBar(QWidget):
    """Chooses what is looked at, and says in words what it is worth.

    Parameters
    ----------
    recordings : Recordings
    """

    def __init__(self, recordings: Recordings, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._recordings = recordings
        self.drives = QuietCombo()
        self.drives.setAccessibleName("Recording that is looked at")
        self.drives.setToolTip("The recording that is looked at.")
        self.drives.setMinimumContentsLength(14)
        self.vehicle = QuietCombo()
        self.vehicle.setAccessibleName("Set that was in the vehicle")
        self.vehicle.setToolTip("The set that was in the vehicle while this was recorded.")
        self.vehicle.setMinimumContentsLength(12)
        for box in (self.drives, self.vehicle):
            box.setSizeAdjustPolicy(
                QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.counts = switch(QCheckBox("Counts"))
        self.counts.setAccessibleName("This recording counts for the coverage of the tables")
        self.counts.setToolTip("Adds this recording to the coverage that is shown over the tables.")
        self.tools = PartTools(TOOLS, MORE)
        self._beside = PlainLabel("In the vehicle")
        self._beside.setBuddy(self.vehicle)
        row = QHBoxLayout()
        row.setSpacing(6)
        row.addWidget(self.drives, 3)
        row.addWidget(self._beside)
        row.addWidget(self.vehicle, 2)
        row.addWidget(self.counts)
        row.addWidget(self.tools)
        self.verdict = PlainLabel()
        self.verdict.setWordWrap(True)
        # On a low screen it is one line, whose end may be cut; the list Agreement has it whole.
        self.verdict.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.verdict.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        bold = self.verdict.font()
        bold.setBold(True)
        self.mark = PlainLabel()
        self.mark.setFont(bold)
        self.mark.setAlignment(Qt.AlignmentFlag.AlignTop)
        grid = QGridLayout(self)
        grid.setContentsMargins(6, 2, 6, 2)
        grid.setVerticalSpacing(2)
        grid.addLayout(row, 0, 0, 1, 2)
        grid.addWidget(self.mark, 1, 0)
        grid.addWidget(self.verdict, 1, 1)
        grid.setColumnStretch(1, 1)
        self.drives.activated.connect(self._choose)
        self.vehicle.activated.connect(self._state)
        self.counts.toggled.connect(self._count)

    def make_room(self, *, narrow: bool, low: bool) -> None:
        """Take less room where there is little: shorter words, smaller targets."""
        self._beside.setVisible(not narrow)
        self.counts.setText("" if narrow else "Counts")
        for box in (self.drives, self.vehicle):
            box.setMinimumContentsLength(6 if narrow else 14)
        self.verdict.setWordWrap(not low)

    # -- showing ---------------------------------------------------------------------------------

    def refresh(self) -> None:
        """List the recordings and sets anew, and say what the chosen one is worth."""
        recordings, chosen = self._recordings, self._recordings.chosen
        self.drives.clear()
        for drive in recordings.drives:
            self.drives.addItem(_words(drive), drive)
            self.drives.setItemData(
                self.drives.count() - 1,
                plain_tip(plain_line(str(drive.path))),
                Qt.ItemDataRole.ToolTipRole,
            )
        if chosen is not None:
            self.drives.setCurrentIndex(recordings.drives.index(chosen))
        self.drives.setEnabled(bool(recordings.drives))
        self.counts.blockSignals(True)
        self.counts.setEnabled(chosen is not None)
        self.counts.setChecked(chosen is not None and chosen.counts)
        self.counts.blockSignals(False)
        self._refresh_vehicle(chosen)
        self._refresh_verdict(chosen)

    def _refresh_vehicle(self, chosen: OpenDrive | None) -> None:
        self.vehicle.clear()
        digest = chosen.recording.vehicle_set_digest if chosen is not None else ""
        says = f"as recorded ({digest[:8]}…)" if digest else "not recorded"
        self.vehicle.addItem(says, None)
        for document in self._recordings.desk.documents:
            self.vehicle.addItem(document.title, document)
        self.vehicle.setEnabled(chosen is not None)
        if chosen is not None and chosen.stated in self._recordings.desk.documents:
            place = self._recordings.desk.documents.index(chosen.stated)
            self.vehicle.setCurrentIndex(place + 1)

    def _refresh_verdict(self, chosen: OpenDrive | None) -> None:
        mark, words = verdict_of(chosen)
        self.mark.setText(mark)
        self.verdict.setText(words)
        self.verdict.setToolTip(plain_tip(words))
        self.verdict.setAccessibleName(f"{mark} {words}".strip() or "What the replay is worth")

    # -- choosing --------------------------------------------------------------------------------

    def _choose(self, number: int) -> None:
        self._recordings.choose(self._recordings.drives[number])

    def _state(self, number: int) -> None:
        if self._recordings.chosen is not None:
            self._recordings.state_set(self._recordings.chosen, self.vehicle.itemData(number))

    def _count(self, on: bool) -> None:
        if self._recordings.chosen is not None:
            self._recordings.count(self._recordings.chosen, on)


def verdict_of(drive: OpenDrive | None) -> tuple[str, str]:
    """Return what a replay is worth: a mark in words, and why."""
    if drive is None:
        return "", ""
    if drive.running:
        return "…", "Replaying the drive through the open sets."
    if drive.outcome is None:
        return "Not replayed:", drive.problem or "The drive was not replayed yet."
    trust = drive.outcome.trust
    lacking = _lacking("A", drive.outcome.a)
    if drive.outcome.b is not None:
        lacking += _lacking("B", drive.outcome.b)
    if drive.outcome.counts:
        note = "" if drive.outcome.b is not None else " Choose a reference set for A against B."
        return "✓ Trusted:", f"{trust.words}{lacking}{note} {drive.outcome.vehicle.words}"
    words = trust.words
    if drive.outcome.b is not None:
        words += " So A against B below is shown, but is no evidence."
    return "✗ No evidence:", f"{words}{lacking} {drive.outcome.vehicle.words}"


def _lacking(letter: str, replay: Replay) -> str:
    """Say which parts of the law a set itself leaves empty: its line tells less without them."""
    # What the recording leaves out, or what the law never reads, is no fault of the set.
    whys = {r: why for r, why in replay.roles_left_out.items() if r not in replay.run.left_out}
    if not whys:
        return ""
    named = [f"{role.replace('_', ' ')} ({why})" for role, why in list(whys.items())[:NAMED]]
    more = f" and {len(whys) - NAMED} more" if len(whys) > NAMED else ""
    return f" \N{WARNING SIGN} {letter} is replayed without {', '.join(named)}{more}."


def _words(drive: OpenDrive) -> str:
    minutes, seconds = divmod(round(drive.recording.seconds), 60)
    faults = len(drive.recording.faults)
    noun = "fault" if faults == 1 else "faults"
    return f"{drive.name}  ·  {minutes}:{seconds:02d} min  ·  {faults} {noun}"
