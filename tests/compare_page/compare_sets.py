"""Small tables, sets and documents for the tests of the page Compare."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import Change, values_change
from calib_model.session.document import Document

PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal", unit="%", quantity="pedal")
SPEED = Axis([0.0, 40.0, 80.0, 120.0], name="Speed", unit="km/h", quantity="vehicle_speed")
STEP = Storage.of("uint16", "0.5")
MAP = Table("map", np.arange(12.0).reshape(3, 4), (PEDAL, SPEED), name="Map", unit="N.m",
            storage=STEP, function="Clutch", relations={"low_grip": ">="})  # fmt: skip
CURVE = Table("curve", [10.0, 20.0, 30.0], (PEDAL,), name="Curve", unit="N.m", storage=STEP)


def set_of(*tables: Table, **about: object) -> CalibrationSet:
    return CalibrationSet({t.id: t for t in tables}, **about)  # type: ignore[arg-type]


def document_of(content: CalibrationSet, name: str) -> Document:
    return Document(content, Path(name), author="Ada")


def with_cells(table: Table, **cells: float) -> Table:
    values = table.values.copy()
    for place, value in cells.items():
        values[tuple(int(d) for d in place[1:])] = value
    return table.with_values(values)


def edit_of(table: Table, cell: int, value: float) -> Change:
    return values_change(
        table, with_cells(table, **{f"c{cell}": value}).values, f"Set to {value:g}"
    )


def listed(bench) -> list[str]:
    return bench.page.summary.rows.ids()
