"""What the controller reads each tick: one list, by which every input has its column."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

from calib_model.core.roles import QUANTITIES

SYNC_UNKNOWN, SYNC_NO, SYNC_YES, SYNC_JUDGED = -1.0, 0.0, 1.0, 2.0
"""Values of `shaft_synchronised`.

Unknown: spinning up lasts the reconnect lead time.  Judged: the law compares `shaft_speed` with
`shaft_speed_target` by the synchronising window.
"""


@dataclass(frozen=True)
class Input:
    """One input of the controller.

    Parameters
    ----------
    name, unit, meaning : str
    default : float
        What may be assumed where nobody gives it; NaN if nothing may.  The law assumes nothing
        by itself: whoever uses a default says so.
    computed : bool
        Whether the law works it out itself where it is NaN.
    """

    name: str
    unit: str
    meaning: str
    default: float = nan
    computed: bool = False


_MEANINGS: dict[str, str] = {
    "ambient_temperature": "temperature of the air outside",
    "pedal": "accelerator pedal, 0 to 100",
    "vehicle_speed": "speed over ground, not negative",
    "wiper_state": "0 off, 1 interval, 2 slow, 3 fast",
    "brake_state": "1 while brake control (wheel slip or stability) acts, else 0",
    "steering_angle": "steering wheel angle, left positive (ISO 8855)",
    "steering_angle_abs": "its absolute value; from steering_angle where not given",
    "slip_error": "front slip above its target; the law works it out",
    "yaw_rate_error": "positive = understeer whichever the turn; from yaw_rate, steering_angle "
    "and vehicle_speed where not given",
    "lateral_acceleration_abs": "absolute value; from lateral_acceleration where not given",
    "plate_slip_speed": "speed difference of the plates, absolute, at the shaft; from "
    "axle_speed_difference where not given",
    "plate_temperature": "temperature of the plates; where not given, the controller's own "
    "estimate from slip power, plate_heat_capacity and plate_cooling",
    "oil_temperature": "temperature of the oil around the clutch",
    "motor_temperature": "temperature of the actuator's motor",
    "clamp": "clamp force that is commanded; the law works it out",
    "slip_power": "heat that enters the plates; where not given, the torque commanded the tick "
    "before times plate_slip_speed",
    "shaft_speed": "speed of the driveshaft itself, which is at rest while disconnected",
    "shaft_speed_target": "speed the shaft must reach to be connected: rear ratio times mean "
    "front wheel speed; from vehicle_speed and axle_speed_difference where not given",
    "grade": "slope of the road, uphill positive",
}
_DEFAULTS = {"wiper_state": 0.0, "brake_state": 0.0, "grade": 0.0}
_COMPUTED = frozenset(
    {
        "steering_angle_abs",
        "slip_error",
        "yaw_rate_error",
        "lateral_acceleration_abs",
        "plate_slip_speed",
        "plate_temperature",
        "clamp",
        "slip_power",
        "shaft_speed_target",
    }
)

INPUTS: tuple[Input, ...] = (
    *(
        Input(name, unit, _MEANINGS[name], _DEFAULTS.get(name, nan), name in _COMPUTED)
        for name, unit in QUANTITIES.items()
    ),
    Input(
        "axle_speed_difference",
        "rad/s",
        "at the shaft: rear ratio times (mean front less mean rear wheel speed); positive where "
        "the front turns faster",
    ),
    Input(
        "front_slip",
        "km/h",
        "slip of the front axle with the expected difference already taken off; the law works it "
        "out from axle_speed_difference where not given",
        computed=True,
    ),
    Input("inside_brake_request", "0/1", "1 where the low-speed turning aid is wanted", 0.0),
    Input(
        "shaft_synchronised",
        "-",
        "-1 unknown, 0 no, 1 yes, 2 the law judges it by the synchronising window",
        SYNC_UNKNOWN,
    ),
    Input("yaw_rate", "deg/s", "left positive (ISO 8855)"),
    Input("lateral_acceleration", "m/s2", "left positive (ISO 8855)"),
)
"""Every input: the quantities of `calib_model.core.roles` first, in their order."""

INPUT_INDEX: dict[str, int] = {one.name: number for number, one in enumerate(INPUTS)}
"""Column of an input by its name."""
