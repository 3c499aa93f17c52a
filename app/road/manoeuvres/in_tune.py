"""A sensitivity over the cells in Tune, for as long as it is true."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QObject, Signal

from app.cell_marks import Cell, signed_marks
from app.driving.service import Driving
from app.driving.shapes import VehicleChoice
from app.driving.verdict import signed
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import with_unit
from calib_model.core.table import Table
from calib_model.session.document import Event

if TYPE_CHECKING:
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.sensitivity import Sensitivity

NOTHING = 1e-3
"""A change below this share of the largest is no change that anybody could use: it has no mark."""


@dataclass(frozen=True)
class Asked:
    """What a sensitivity was driven with."""

    content: CalibrationSet | None
    manoeuvre: Manoeuvre
    vehicle: VehicleChoice


class InTune(QObject):
    """Marks the cells of a table by the change of an estimate; any edit takes the marks away.

    The whole set takes part in a drive, so that an edit of another table counts too.

    Parameters
    ----------
    driving : Driving

    Signals
    -------
    changed
    """

    changed = Signal()

    def __init__(self, driving: Driving) -> None:
        super().__init__(driving)
        self._driving = driving
        self.shown = False
        """Whether there are marks."""
        driving.desk.edited.connect(self._on_edited)
        driving.desk.current_changed.connect(self.clear)
        driving.choice_changed.connect(self.clear)

    def show(self, found: Sensitivity, asked: Asked, table: Table) -> bool:
        """Mark the cells; refused, and told, where they would not be true any more.

        Parameters
        ----------
        found : Sensitivity
        asked : Asked
        table : Table
            As it was driven.
        """
        desk = self._driving.desk
        now = desk.current.content if desk.current is not None else None
        if not _same_tables(now, asked.content) or asked.vehicle != self._driving.vehicle:
            desk.tell(
                "The set or the vehicle is another by now. Drive every cell again.", refused=True
            )
            return False
        label, unit = found.metric.label, found.metric.unit
        step = with_unit(found.step, table.unit)
        step = f"+{step}" if found.step > 0 else step

        def tell(cell: Cell) -> str:
            change = float(found.change[cell])
            if np.isnan(change):
                return f"{label}: {found.why.get(cell, 'not known')}"
            return f"{label} {signed(change, unit)} for {step} (desk estimate)"

        size = np.abs(found.change)
        least = NOTHING * np.nanmax(size, initial=0.0)
        marks = replace(
            signed_marks(label, unit, np.where(size < least, 0.0, found.change)),
            tell=tell,
            summary=f"{asked.manoeuvre.name}: {label} for {step} in each cell, desk estimate",
        )
        desk.driving.set_cell_marks({found.table_id: marks})
        self._tell(shown=True)
        return True

    def clear(self) -> None:
        """Take the marks away."""
        if self.shown:
            self._driving.desk.driving.set_cell_marks(None)
            self._tell(shown=False)

    def _tell(self, *, shown: bool) -> None:
        self.shown = shown
        self.changed.emit()

    def _on_edited(self, event: Event) -> None:
        if self.shown and (event.cells or event.tables_changed):
            self.clear()
            self._driving.desk.tell("Sensitivity is out of date and shown no more.")


def _same_tables(a: CalibrationSet | None, b: CalibrationSet | None) -> bool:
    if a is None or b is None or len(a.tables) != len(b.tables):
        return False
    return all(b.tables.get(id) is table for id, table in a.tables.items())
