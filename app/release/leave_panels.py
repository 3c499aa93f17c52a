"""The panels that let values leave the desk: for a trial, or as a release."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

from PySide6.QtWidgets import QCheckBox, QLineEdit, QWidget

from app.forms import Form, PathField
from app.needs import Memory
from app.plain import PlainLabel, plain_tip
from calib_model.formats.registry import Format, formats
from calib_model.rules.waivers import today

_NOT_TICKED = {"trial": ("report",), "release": ()}
"""Formats that are not proposed the first time."""


class _LeaveForm(Form):
    """A folder and what is written into it."""

    def __init__(self, memory: Memory, what: str, offered: Iterable[Format]) -> None:
        super().__init__()
        self._memory, self._what = memory, what
        self.folder = PathField("Folder to write to", "folder")
        self.boxes: dict[str, QCheckBox] = {}
        self._offered = tuple(offered)
        kept = memory.remembered(f"{what}/formats").split()
        for one in self._offered:
            box = QCheckBox(one.name)
            box.setToolTip(plain_tip(one.limits))
            box.setChecked(one.id in kept if kept else one.id not in _NOT_TICKED[what])
            self.boxes[one.id] = box

    def _place(self) -> None:
        self.add("Folder", self.folder, tip="An existing folder; a release makes its own in it.")
        self.folder.show_path(self._memory.remembered(f"{self._what}/folder"))
        for number, box in enumerate(self.boxes.values()):
            self.fields.addRow("Write" if number == 0 else "", box)
            box.installEventFilter(self)

    def set_folder(self, folder: Path | None) -> None:
        """Propose a folder where none was chosen."""
        if self.folder.path is None or not self.folder.path.is_dir():
            self.folder.show_path(folder)

    @property
    def chosen(self) -> tuple[Format, ...]:
        """What is ticked."""
        return tuple(one for one in self._offered if self.boxes[one.id].isChecked())

    def keep(self) -> None:
        """Remember what was chosen."""
        self._memory.remember(f"{self._what}/folder", str(self.folder.path or ""))
        names = " ".join(one.id for one in self.chosen)
        self._memory.remember(f"{self._what}/formats", names)


class TrialPanel(_LeaveForm):
    """Unsigned values for one vehicle and trip."""

    def __init__(self, memory: Memory) -> None:
        super().__init__(memory, "trial", (one for one in formats() if one.for_trial))
        about = PlainLabel(
            "Unsigned values for one test vehicle: file and name say TRIAL, the vehicle, the trip, "
            "the last day, the digest; the file lists every changed cell. Never a release."
        )
        about.setWordWrap(True)
        self.column.insertWidget(0, about)
        self.vehicle = self.text_field("Vehicle", "Test vehicle", "", "Such as Larch 07")
        self.trip = self.text_field("Trip", "Trip", "", "Such as winter trip 2")
        self.expires = self.text_field("Last day", "Last day of the trial", "", "2027-02-28")
        self._place()
        for line, key in self._kept():
            line.setText(memory.remembered(f"trial/{key}"))
        if not self.expires.text():
            self.expires.setText((today() + timedelta(days=7)).isoformat())
        self.write = self.button("Write the trial's files (Enter)", lambda: None)

    def _kept(self) -> tuple[tuple[QLineEdit, str], ...]:
        return (
            (self.vehicle, "vehicle"),
            (self.trip, "trip"),
            (self.expires, "expires"),
        )

    def first_stop(self) -> QWidget:
        """Return what should have the keyboard: what is missing, else the button."""
        for line, _ in self._kept():
            if not line.text().strip():
                return line
        if self.expires.text().strip() < today().isoformat():
            return self.expires
        return self.write

    def keep(self) -> None:
        """Remember what was chosen."""
        super().keep()
        for line, key in self._kept():
            self._memory.remember(f"trial/{key}", line.text().strip())


class HandOverPanel(_LeaveForm):
    """Everything a release consists of, in a folder of its own."""

    def __init__(self, memory: Memory) -> None:
        super().__init__(memory, "release", formats())
        self.state = PlainLabel()
        self.state.setWordWrap(True)
        self.state.setAccessibleName("What the exports will say of the set")
        self.column.insertWidget(0, self.state)
        self._place()
        self.write = self.button("Hand over", lambda: None)
