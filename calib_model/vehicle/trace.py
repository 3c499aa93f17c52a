"""What a drive at the desk leaves: columns over time, the energy ledger, and whether it ended well.

The columns are sampled at the controller's tick.  Axes and signs follow ISO 8855.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from calib_model.controller.outputs import OUTPUT_INDEX, OUTPUTS
from calib_model.core.arrays import BoolArray, FloatArray, IntArray
from calib_model.core.roles import ROLES
from calib_model.vehicle.scene import WHEELS

COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("time", "s", "from the start"),
    ("x", "m", "place on the ground, centre of gravity"),
    ("y", "m", "place on the ground, centre of gravity"),
    ("heading", "deg", "from the x axis, left positive"),
    ("way", "m", "driven forward; falls while rolling back"),
    ("speed", "km/h", "true forward speed"),
    ("speed_estimate", "km/h", "speed over ground as the controller estimates it"),
    ("lateral_speed", "m/s", "true, left positive"),
    ("yaw_rate", "deg/s", "true, left positive"),
    ("sideslip", "deg", "angle of the velocity from the x axis of the vehicle"),
    ("longitudinal_acceleration", "m/s2", "rate of the forward speed"),
    ("lateral_acceleration", "m/s2", "true, left positive"),
    *((f"wheel_speed_{w}", "km/h", "true, circumference") for w in WHEELS),
    *((f"slip_{w}", "-", "longitudinal; drive positive, at most 1 either way") for w in WHEELS),
    *((f"load_{w}", "N", "wheel load") for w in WHEELS),
    *((f"force_x_{w}", "N", "on the tyre along the wheel") for w in WHEELS),
    *((f"force_y_{w}", "N", "on the tyre across the wheel") for w in WHEELS),
    *((f"brake_torque_{w}", "N.m", "at the wheel") for w in WHEELS),
    ("front_slip", "km/h", "fastest front wheel less the speed of the road under it"),
    ("rear_slip", "km/h", "fastest rear wheel less the speed of the road under it"),
    ("pedal", "%", "accelerator"),
    ("brake_pedal", "%", "brake"),
    ("steering_angle", "deg", "at the steering wheel, left positive"),
    ("grade", "%", "uphill positive"),
    ("drive_torque", "N.m", "of the engine at the front axle"),
    ("traction_share", "-", "what traction control leaves of the drive torque asked for"),
    ("shaft_speed", "rad/s", "driveshaft"),
    ("connected", "0/1", "dog clutch of the driveshaft"),
    ("clutch_slip", "rad/s", "driveshaft less rear side"),
    ("clutch_torque", "N.m", "carried by the clutch; positive drives the rear"),
    ("clutch_capacity", "N.m", "what the clutch could carry"),
    ("clutch_power", "W", "heat in the plates, mean over the tick"),
    ("clamp", "N", "true clamp force"),
    ("clamp_asked", "N", "what the controller believes it asks for"),
    ("current", "A", "motor current"),
    ("plate_temperature", "degC", "true"),
    ("plate_temperature_believed", "degC", "of the controller's own temperature model"),
    ("oil_temperature", "degC", "true"),
    ("inside_brake_torque", "N.m", "of the turning aid, at the inner rear wheel"),
    ("brake_active", "0/1", "brake control works and the controller is told so"),
    ("controller_state", "-", "state of the disconnection; see the controller's STATES"),
)
"""Name, unit and meaning of every column of the plant."""

TRACE_UNITS: Mapping[str, str] = MappingProxyType({name: unit for name, unit, _ in COLUMNS})
"""Unit per column."""

LEDGER: tuple[tuple[str, str], ...] = (
    ("drive", "work of the engine"),
    ("kinetic", "gain of kinetic energy of body, wheels, drive and driveshaft"),
    ("potential", "gain of height"),
    ("clutch", "heat of the clutch"),
    ("dog", "loss when the dog clutch joins two speeds"),
    ("tyre", "sliding and deflection of the tyres"),
    ("drag", "air"),
    ("brakes", "brakes of the wheels"),
    ("rolling", "rolling resistance"),
    ("shaft", "drag of the driveshaft's bearings"),
)
"""Entries of the energy ledger, all in J; `drive` is the sum of the others but for the residual."""


@dataclass(frozen=True, eq=False)
class Trace:
    """One drive.

    Parameters
    ----------
    columns : mapping of name to (T,) float array
        See `COLUMNS`.
    inputs : (T, n) float array
        What the controller used, in the order of `calib_model.controller.inputs.INPUTS`; with what
        it works out itself, unless a fixed clutch torque took its place.
    outputs : (T, n) float array
        What it answered, in the order of `calib_model.controller.outputs.OUTPUTS`; NaN where a
        fixed clutch torque took its place.
    governing : (T,) int array
        Index in ROLES of the table that governed; -1 for none.
    tick : float
        s.
    completed : bool
        Whether the drive ended as meant; if not, the columns end where the model's range ends.
    why : str
        Why it ended early, in words; empty otherwise.
    remarks : tuple of str
        What the user should know although the drive completed.
    energy : mapping of name to float
        See `LEDGER`; J.  `residual` is what does not add up.
    missing : mapping of role to str
        Parts of the controller that no table of the set could play, and why.
    """

    columns: Mapping[str, FloatArray]
    inputs: FloatArray
    outputs: FloatArray
    governing: IntArray
    tick: float
    completed: bool
    why: str = ""
    remarks: tuple[str, ...] = ()
    energy: Mapping[str, float] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> FloatArray:
        """Return a column of the plant by name, or an output of the controller as `law_<name>`."""
        if name in self.columns:
            return self.columns[name]
        if name.startswith("law_"):
            return self.outputs[:, _output_index()[name.removeprefix("law_")]]
        raise KeyError(name)

    def __contains__(self, name: object) -> bool:
        """Whether there is such a column."""
        return name in self.columns or (
            isinstance(name, str)
            and name.startswith("law_")
            and name.removeprefix("law_") in _output_index()
        )

    @property
    def time(self) -> FloatArray:
        """Time in s."""
        return self.columns["time"]

    def decided(self, role: str) -> BoolArray:
        """Return at which ticks the table of a role governed."""
        decided: BoolArray = self.governing == ROLES.index(role)
        return decided


def unit_of(name: str) -> str:
    """Return the unit of a column, or of a controller's output named `law_<name>`."""
    if name in TRACE_UNITS:
        return TRACE_UNITS[name]

    wanted = name.removeprefix("law_")
    found: Any = next((o for o in OUTPUTS if o.name == wanted), None)
    if found is None:
        raise KeyError(name)
    return str(found.unit)


def _output_index() -> Mapping[str, int]:
    return OUTPUT_INDEX
