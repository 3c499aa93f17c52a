"""Short ways to make tables and to ask for the findings of one rule."""

from __future__ import annotations

from typing import Any

from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Rule
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.check import Finding, Report, check

UNITS = {"pedal": "%", "vehicle_speed": "km/h", "ambient_temperature": "degC", "clamp": "N"}


def axis(quantity: str, values: Any, **more: Any) -> Axis:
    return Axis(values, quantity.replace("_", " "), UNITS.get(quantity, "-"), quantity, **more)


def steps(quantity: str, values: Any) -> Axis:
    return axis(quantity, values, interpolation=Interpolation.STEP)


def scalar(value: float, *rules: Rule, id: str = "t", **more: Any) -> Table:
    return Table(id, value, unit="N.m", rules=rules, **more)


def curve(x: Any, z: Any, *rules: Rule, id: str = "t", of: str = "pedal", **more: Any) -> Table:
    """A curve over pedal, in N.m."""
    return Table(id, z, (axis(of, x),), unit="N.m", rules=rules, **more)


def plane(x: Any, y: Any, z: Any, *rules: Rule, id: str = "t", **more: Any) -> Table:
    """A map over pedal (rows) and vehicle speed (columns), in N.m."""
    return Table(
        id,
        z,
        (axis("pedal", x), axis("vehicle_speed", y)),
        unit="N.m",
        rules=rules,
        **more,
    )


def report(*tables: Table, **about: str) -> Report:
    return check(CalibrationSet(tables, **about))


def findings(*tables: Table, of: str = "t") -> list[Finding]:
    """Findings of stated rules of one table; those that are always in force are left out."""
    stated = {rule.kind for table in tables for rule in table.rules}
    found = report(*tables)
    assert found.not_checked == ()
    return [f for f in found.of(of) if f.rule in stated]


def only(*tables: Table, of: str = "t") -> Finding:
    """The one finding there is."""
    (finding,) = findings(*tables, of=of)
    return finding


def raster(step: str = "0.5", type: str = "uint16") -> Storage:
    return Storage.of(type, step)
