"""The play head: moved by keys and pointer, told to the plots, the lists and the desk."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from PySide6.QtCore import QObject, QTimer, Signal

from app.desk import Desk
from app.road.recordings.head import after_seconds, next_change, next_moment, trail_of
from app.road.recordings.plot import DrivePlot
from app.road.recordings.service import OpenDrive
from calib_model.core.arrays import FloatArray

TOLD_MS, RESTS_MS = 40, 90
"""Tables follow the play head this much later, lists once it rests: so it runs freely by key."""


class Player(QObject):
    """Moves through one recording.

    Signals
    -------
    rested : int
        The play head rests at a tick.
    """

    rested = Signal(int)

    def __init__(self, desk: Desk, plot: DrivePlot, parent: QObject) -> None:
        super().__init__(parent)
        self._desk, self._plot = desk, plot
        self.drive: OpenDrive | None = None
        self._places: dict[int, float] = {}
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(TOLD_MS)
        self._late.timeout.connect(self.tell_desk)
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(RESTS_MS)
        self._rest.timeout.connect(lambda: self.rested.emit(self.tick))
        plot.head_wanted.connect(self.go_to_tick)

    @property
    def tick(self) -> int:
        """The tick that the play head is at."""
        return self._plot.head

    @property
    def moment(self) -> float:
        """Its time in seconds; NaN without a recording."""
        time = self._plot.scene.time
        return float(time[self.tick]) if time.size else float("nan")

    def look_at(self, drive: OpenDrive | None) -> None:
        """Play another recording, from where it was left."""
        if self.drive is not None and self._plot.scene.time.size:
            self._places[id(self.drive)] = self.moment
        self.drive = drive

    def place(self) -> None:
        """Put the play head where the recording was left."""
        moment = self._places.pop(id(self.drive), None)
        if moment is not None:
            self.go_to(moment)
        else:
            self.go_to_tick(self.tick)

    # -- moving ----------------------------------------------------------------------------------

    def go_to_tick(self, tick: int) -> None:
        """Move to a tick."""
        self._plot.set_head(tick)
        self._rest.start()
        if not self._late.isActive():
            self._late.start()

    def go_to(self, moment: float) -> None:
        """Move to a moment."""
        if self._plot.scene.time.size:
            self.go_to_tick(self._plot.scene.tick_at(moment))

    def step(self, ticks: int) -> None:
        """Move by ticks."""
        self.go_to_tick(self.tick + ticks)

    def step_seconds(self, seconds: float) -> None:
        """Move by seconds."""
        time = self._plot.scene.time
        if time.size:
            self.go_to_tick(after_seconds(time, self.tick, seconds))

    def to_end(self, by: int) -> None:
        """Move to the last (or first) tick."""
        self.go_to_tick(self._plot.scene.time.size - 1 if by > 0 else 0)

    def step_fault(self, by: int) -> None:
        """Move to the next (or last) fault, and say what it is."""
        if self.drive is None:
            self._desk.tell("No recording is open.")
            return
        faults = self.drive.recording.faults
        time = self._plot.scene.time
        if not time.size:
            return
        starts = np.array([time[self._plot.scene.tick_at(f.start_s)] for f in faults
                           if np.isfinite(f.start_s)])  # fmt: skip
        moment = next_moment(starts, self.moment, by)
        if moment is None:
            self._desk.tell(f"There is no {'further' if by > 0 else 'earlier'} fault.")
            return
        self.go_to(moment)
        here = [
            f for f in faults
            if np.isfinite(f.start_s) and time[self._plot.scene.tick_at(f.start_s)] == moment
        ]  # fmt: skip
        self._desk.tell(" ".join(f.words for f in here[:2]))

    def step_change(self, by: int) -> None:
        """Move to where another table begins to govern in A, and say which."""
        bands = self._plot.scene.bands
        if not bands:
            self._desk.tell("Which table governs is known once the drive is replayed.")
            return
        tick = next_change(bands[0].codes, self.tick, by)
        if tick is None:
            where = "From here on" if by > 0 else "Up to here"
            self._desk.tell(f"{where} nothing else governs.")
            return
        self.go_to_tick(tick)
        self._desk.tell(f"From {self.moment:.2f} s {bands[0].title} {bands[0].word(tick)}.")

    # -- telling ---------------------------------------------------------------------------------

    def tell_desk(self) -> None:
        """Show the operating point and its trail over the tables."""
        drive = self.drive
        if drive is None or drive.outcome is None or not self._plot.scene.time.size:
            self._desk.driving.set_play_head(None)
            return
        known = quantities(drive)
        tick = min(self.tick, drive.outcome.ticks.time.size - 1)
        part = trail_of(drive.outcome.ticks.time, tick)
        at = {name: float(values[tick]) for name, values in known.items()}
        at = {name: value for name, value in at.items() if np.isfinite(value)}
        self._desk.driving.set_play_head(at or None, {name: v[part] for name, v in known.items()})

    def forget(self) -> None:
        """Take the operating point away."""
        self._late.stop()
        self._rest.stop()
        self._desk.driving.set_play_head(None)


def quantities(drive: OpenDrive) -> Mapping[str, FloatArray]:
    """Return the input quantities along a drive as the tables of A read them, by name."""
    assert drive.outcome is not None
    return drive.outcome.a.tables.feeds.known
