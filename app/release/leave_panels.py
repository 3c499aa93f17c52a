"""The panels that let values leave the desk: for a trial, or as a release."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from PySide6.QtWidgets import QCheckBox, QLineEdit, QWidget

from app.forms import Form, PathField
from app.needs import Memory
from app.plain import PlainLabel
from calib_model.rules.waivers import today

from .leaving import Kind

TRIAL_KINDS = (Kind.SET, Kind.TEXT, Kind.CSV, Kind.REPORT)
_FIRST = {"trial": (Kind.SET, Kind.TEXT, Kind.CSV), "release": tuple(Kind)}


class _LeaveForm(Form):
    """A folder and what is written into it."""

    def __init__(self, memory: Memory, what: str, kinds: tuple[Kind, ...]) -> None:
        super().__init__()
        self._memory, self._what = memory, what
        self.folder = PathField("Folder to write to", "folder")
        self.kinds: dict[Kind, QCheckBox] = {}
        kept = memory.remembered(f"{what}/kinds")
        for kind in kinds:
            box = QCheckBox(str(kind))
            box.setChecked(kind.name in kept.split() if kept else kind in _FIRST[what])
            self.kinds[kind] = box

    def _place(self) -> None:
        self.add("Folder", self.folder, tip="An existing folder; a release makes its own in it.")
        self.folder.show_path(self._memory.remembered(f"{self._what}/folder"))
        for number, box in enumerate(self.kinds.values()):
            self.fields.addRow("Write" if number == 0 else "", box)
            box.installEventFilter(self)

    def set_folder(self, folder: Path | None) -> None:
        """Propose a folder where none was chosen."""
        if self.folder.path is None or not self.folder.path.is_dir():
            self.folder.show_path(folder)

    @property
    def chosen(self) -> tuple[Kind, ...]:
        """What is ticked."""
        return tuple(kind for kind, box in self.kinds.items() if box.isChecked())

    def keep(self) -> None:
        """Remember what was chosen."""
        self._memory.remember(f"{self._what}/folder", str(self.folder.path or ""))
        names = " ".join(kind.name for kind in self.chosen)
        self._memory.remember(f"{self._what}/kinds", names)


class TrialPanel(_LeaveForm):
    """Unsigned values for one vehicle and trip."""

    def __init__(self, memory: Memory) -> None:
        super().__init__(memory, "trial", TRIAL_KINDS)
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
        super().__init__(memory, "release", tuple(Kind))
        self.state = PlainLabel()
        self.state.setWordWrap(True)
        self.state.setAccessibleName("What the exports will say of the set")
        self.column.insertWidget(0, self.state)
        self._place()
        self.write = self.button("Hand over", lambda: None)
