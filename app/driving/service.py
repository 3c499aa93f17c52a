"""What the window's parts share about desk runs: the vehicle, the manoeuvres, runs already made.

One `Driving` per desk.  Runs happen in threads; the compiled code lets go of the interpreter
lock, so the window goes on meanwhile.
"""

from __future__ import annotations

import json
import math
import threading
from collections import OrderedDict
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from app.desk import Desk
from app.driving.limits import Forgetful, Limits
from app.driving.shapes import Case, DeskRun, Model, VehicleChoice
from app.needs import Memory
from app.vehicle_in_use import vehicle_in_use
from app.work.latest import Latest
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError

if TYPE_CHECKING:
    from calib_model.session.document import Document
    from calib_model.vehicle.manoeuvre_file import ManoeuvreFile
    from calib_model.vehicle.manoeuvres import Manoeuvre

KEPT = 48
"""Runs that are kept: all manoeuvres, before, now and of the reference, and some to go back to."""


class Driving(QObject):
    """Desk runs of one window.

    Signals
    -------
    state_changed
        The compiled code is being prepared, or is ready, or cannot be had.
    choice_changed
        Another vehicle, load case or list of manoeuvres: every run is out of date.
    limits_changed
        The user set a limit.
    case_wanted
        A run of a campaign is to be driven again and looked at: see `case`.

    Parameters
    ----------
    desk : Desk
    memory : Memory
        What remembers the choices: the window's settings.
    model : Model, optional
        What drives; the vehicle model by default.
    """

    state_changed = Signal()
    choice_changed = Signal()
    limits_changed = Signal()
    case_wanted = Signal()

    def __init__(self, desk: Desk, memory: Memory, model: Model | None = None) -> None:
        super().__init__(desk)
        if model is None:
            # Late: with it comes the vehicle model, and the window must not wait for it.
            from app.driving.model import VehicleModel

            model = VehicleModel()
        self.desk, self.memory, self.model = desk, memory, model
        self.limits = Limits(memory)
        self.state = "cold"
        """``cold``, ``preparing``, ``ready`` or ``failed``."""
        self.trouble = ""
        """Why it cannot be had, or what is wrong with the choices."""
        self.case: Case | None = None
        self._lock = threading.Lock()
        self._runs: OrderedDict[tuple[object, ...], tuple[CalibrationSet, DeskRun]] = OrderedDict()
        self._preparing = Latest(self, self._take_prepared, self._take_failure, model.stop)
        self._own = _path(memory.remembered("driving/manoeuvres"))
        self._listed: ManoeuvreFile | None = None
        self._in_use = vehicle_in_use(desk, memory)
        self._in_use.changed.connect(self._renew)

    # -- the compiled code -----------------------------------------------------------------------

    def prepare(self) -> None:
        """Get the compiled code ready in the background; harmless if it is, or is on the way."""
        if self.state in ("ready", "preparing"):
            return
        self._set_state("preparing", "")
        model = self.model
        self._preparing.ask(model.prepare)

    def wait(self) -> None:
        """Wait until what is being prepared is ready; for tests and for the end."""
        self._preparing.wait()

    def _take_prepared(self, trouble: str) -> None:
        self._set_state("failed" if trouble else "ready", trouble)

    def _take_failure(self, error: BitepointError) -> None:
        self._set_state("failed", f"The simulation could not be prepared. {error}")

    def _set_state(self, state: str, trouble: str) -> None:
        self.state, self.trouble = state, trouble
        self.state_changed.emit()

    # -- what is chosen --------------------------------------------------------------------------

    @property
    def vehicle(self) -> VehicleChoice:
        """The vehicle that drives: the user's, else the programme's, else the invented one."""
        return VehicleChoice(self._in_use.path, self._in_use.variant)

    @property
    def programme_vehicle(self) -> Path | None:
        """The vehicle file that the programme of the current set names, if there is one."""
        return self._in_use.of_programme

    @property
    def vehicle_origin(self) -> str:
        """Why it is this vehicle, in words."""
        return self._in_use.origin

    def choose_vehicle(self, path: Path | None) -> None:
        """Drive another vehicle; None goes back to the programme's or the invented one."""
        self._in_use.choose(path)

    def choose_variant(self, name: str) -> None:
        """Drive another load case."""
        self._in_use.choose_variant(name)

    @property
    def own_manoeuvres(self) -> Path | None:
        """The user's file of manoeuvres."""
        return self._own

    def choose_manoeuvres(self, path: Path | None) -> None:
        """Take manoeuvres of the user's from a file, or go back to those that come with us.

        Raises
        ------
        BitepointError
            If the file cannot be read; then nothing changes.
        """
        self._listed = self.model.manoeuvres(path)
        self._own = path
        self.memory.remember("driving/manoeuvres", str(path or ""))
        self._renew()

    @property
    def file(self) -> ManoeuvreFile:
        """The manoeuvres; a user's file that cannot be read is told in `trouble`, and left out."""
        if self._listed is None:
            try:
                self._listed = self.model.manoeuvres(self._own)
            except BitepointError as error:
                self.trouble = str(error)
                self._listed = self.model.manoeuvres(None)
        return self._listed

    @property
    def manoeuvres(self) -> tuple[Manoeuvre, ...]:
        """The manoeuvres there are, those of the user's file last."""
        return tuple(self.file.manoeuvres.values())

    def manoeuvre(self, id: str) -> Manoeuvre | None:
        """Return a manoeuvre by its id."""
        return self.file.manoeuvres.get(id)

    def _renew(self) -> None:
        with self._lock:
            self._runs.clear()
        self.choice_changed.emit()

    # -- driving ---------------------------------------------------------------------------------

    def drive(
        self,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
    ) -> DeskRun:
        """Drive a manoeuvre, or return the run that was made of the very same set.

        May be called from any thread.

        Raises
        ------
        BitepointError
            If the vehicle file or the manoeuvre cannot be used.
        """
        stamp = _stamp(vehicle.path)
        key = (id(content), manoeuvre, vehicle, stamp)
        with self._lock:
            kept = self._runs.get(key)
            if kept is not None and kept[0] is content:
                self._runs.move_to_end(key)
                return kept[1]
        run = self.model.drive(content, manoeuvre, vehicle)
        with self._lock:
            self._runs[key] = (content, run)  # the set is kept, so that its id stays its own
            while len(self._runs) > KEPT:
                self._runs.popitem(last=False)
        return run

    def drive_told(
        self,
        content: CalibrationSet,
        manoeuvre: str,
        vehicle: VehicleChoice,
    ) -> DeskRun:
        """Drive; what hinders it is told in the run instead of raised."""
        try:
            return self.drive(content, manoeuvre, vehicle)
        except BitepointError as error:
            return DeskRun(None, refused=str(error))

    def case_told(self, case: Case) -> DeskRun:
        """Drive a run of a campaign again; what hinders it is told in the run."""
        try:
            return self.model.drive_case(case)
        except BitepointError as error:
            return DeskRun(None, refused=str(error))

    def limit(self, manoeuvre: Manoeuvre, metric: str) -> float:
        """Return the limit that counts: the user's, else the manoeuvre's own; NaN for none."""
        own = self.limits.of(manoeuvre.id, metric)
        return manoeuvre.limits.get(metric, math.nan) if math.isnan(own) else own

    def set_limit(self, manoeuvre: str, measure: str, limit: float) -> None:
        """Set the user's limit for a measure; NaN takes it away."""
        self.limits.set(manoeuvre, measure, limit)
        self.limits_changed.emit()

    def show_case(self, case: Case) -> None:
        """Have a run of a campaign driven again and shown."""
        self.case = case
        self.case_wanted.emit()

    def recall(self, key: str) -> dict[str, object]:
        """Return choices kept under a key."""
        try:
            kept = json.loads(self.memory.remembered(key) or "{}")
        except ValueError:  # edited by hand
            return {}
        return kept if isinstance(kept, dict) else {}


def driving_of(desk: Desk, memory: Memory | None = None) -> Driving:
    """Return the desk's `Driving`, making it if there is none yet."""
    found = desk.findChild(Driving)
    return found if isinstance(found, Driving) else Driving(desk, memory or Forgetful())


def title_of(document: Document, desk: Desk) -> str:
    """Return a set's title, with its place in the list where two have the same."""
    same = [d for d in desk.documents if d.title == document.title]
    return document.title if len(same) < 2 else f"{document.title} ({same.index(document) + 1})"


def _path(text: str) -> Path | None:
    return Path(text) if text else None


def _stamp(path: Path | None) -> tuple[int, int]:
    try:
        stat = path.stat() if path is not None else None
    except OSError:
        stat = None  # told when it is read
    return (stat.st_mtime_ns, stat.st_size) if stat is not None else (0, 0)
