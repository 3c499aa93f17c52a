"""Which vehicle the window goes by: the user's, else the programme's, else the invented one."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Signal

from app.desk import Desk
from app.needs import Memory
from app.vehicle_constants import ConstantsOf
from calib_model.session.programme import vehicle_beside


class VehicleInUse(QObject):
    """The choice of vehicle, one per desk: for desk runs, replays and the resulting torque.

    Signals
    -------
    changed
        Another vehicle or load case: what was reckoned with the last one is out of date.

    Parameters
    ----------
    desk : Desk
    memory : Memory or None
        Without one the choice ends with the window.
    """

    changed = Signal()

    def __init__(self, desk: Desk, memory: Memory | None = None) -> None:
        super().__init__(desk)
        self._desk, self._memory = desk, memory
        chosen = memory.remembered("driving/vehicle") if memory is not None else ""
        self.chosen = Path(chosen) if chosen else None
        """What the user chose."""
        self.variant = memory.remembered("driving/variant") if memory is not None else ""
        """Load case."""
        self._of_sets: dict[Path, Path | None] = {}
        self._last = self.path
        desk.current_changed.connect(self._on_current)

    @property
    def of_programme(self) -> Path | None:
        """The vehicle file that the programme of the current set names, if there is one."""
        document = self._desk.current
        if document is None or document.path is None:
            return None
        if document.path not in self._of_sets:
            self._of_sets[document.path] = vehicle_beside(document.path)
        return self._of_sets[document.path]

    @property
    def path(self) -> Path | None:
        """The vehicle file; None for the invented vehicle."""
        return self.chosen or self.of_programme

    @property
    def origin(self) -> str:
        """Why it is this vehicle, in words."""
        if self.chosen is not None:
            return f"chosen: {self.chosen.name}"
        path = self.of_programme
        return f"of the programme: {path.name}" if path else "comes with Bitepoint, invented"

    @property
    def constants(self) -> ConstantsOf:
        """Whose constants the torque law is given."""
        return ConstantsOf(self.path, self.chosen is None and self.path is not None)

    def choose(self, path: Path | None) -> None:
        """Go by another vehicle; None goes back to the programme's or the invented one."""
        self.chosen = path
        self._remember("driving/vehicle", str(path or ""))
        self._tell()

    def choose_variant(self, name: str) -> None:
        """Go by another load case."""
        if name != self.variant:
            self.variant = name
            self._remember("driving/variant", name)
            self._tell()

    def _remember(self, key: str, text: str) -> None:
        if self._memory is not None:
            self._memory.remember(key, text)

    def _tell(self) -> None:
        self._last = self.path
        self.changed.emit()

    def _on_current(self) -> None:
        if self.path != self._last:  # another programme may name another vehicle
            self._tell()


def vehicle_in_use(desk: Desk, memory: Memory | None = None) -> VehicleInUse:
    """Return the desk's `VehicleInUse`, making it if there is none yet."""
    found = desk.findChild(VehicleInUse)
    return found if isinstance(found, VehicleInUse) else VehicleInUse(desk, memory)
