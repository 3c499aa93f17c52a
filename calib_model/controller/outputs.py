"""What the torque law gives each tick: names, units and meanings, each defined once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calib_model.core.roles import ROLES

ROLE_INDEX: dict[str, int] = {role: number for number, role in enumerate(ROLES)}
"""Number of a role; also the slot of its table in a bound set's bank."""

STATES: tuple[str, ...] = ("connected", "opening", "disconnected", "spin-up", "dog")
"""States of the driveshaft, by the number that the output `state` holds."""

CONNECTED, OPENING, DISCONNECTED, SPIN_UP, DOG = range(5)


@dataclass(frozen=True)
class Output:
    """One output of the torque law."""

    name: str
    unit: str
    meaning: str


_LIMIT = "; infinite where it does not act"

OUTPUTS: tuple[Output, ...] = (
    Output("pre_engage", "N.m", "pre-engage torque times its fade, at the clutch"),
    Output("cruise", "N.m", "cruise base torque times ambient and wiper factor, at the clutch"),
    Output("hill", "N.m", "hill pre-engagement, at the clutch"),
    Output("feed_forward", "N.m", "the largest of the three before"),
    Output("slip", "km/h", "slip of the front axle, the expected difference taken off"),
    Output("slip_error", "km/h", "slip above its target; zero below it"),
    Output("integral", "N.m", "integral part of slip control, tracking the limited torque"),
    Output("slip_demand", "N.m", "proportional and integral part of slip control"),
    Output("yaw_term", "N.m", "torque from the yaw-rate error; zero within its dead band"),
    Output("demand", "N.m", "larger of feed-forward and slip demand, plus the yaw term"),
    Output("limit_steering", "N.m", "steering limit" + _LIMIT),
    Output("limit_lateral", "N.m", "lateral acceleration limit" + _LIMIT),
    Output("limit_clamp", "N.m", "clamp limits of plates and oil times the derate" + _LIMIT),
    Output("limit_current", "N.m", "torque at the motor's largest current" + _LIMIT),
    Output("limit_brake_control", "N.m", "torque left while brake control acts" + _LIMIT),
    Output("limit_inside_brake", "N.m", "torque left beside the inside brake" + _LIMIT),
    Output("limited", "N.m", "what is asked for once limits and driveshaft have their say"),
    Output("torque", "N.m", "commanded torque at the clutch, after the slew"),
    Output("clamp", "N", "clamp force for the commanded torque"),
    Output("current", "A", "motor current for that clamp, on the raster of the current tables"),
    Output("inside_brake", "N.m", "brake torque at the inner rear wheel"),
    Output("low_grip_likelihood", "-", "1 right after a slip error, falling to 0"),
    Output("plate_temperature", "degC", "temperature of the plates as used: given or estimated"),
    Output("disconnect_wait", "s", "how long the conditions to disconnect have held"),
    Output("state", "-", "state of the driveshaft, a number of STATES"),
    Output("governing", "-", "number of the role whose table decided the torque; -1 none"),
    Output(
        "branch", "-", "number of the role that feed-forward or slip demand comes from; -1 none"
    ),
    Output("current_by", "-", "number of the role that the current comes from; -1 none"),
    Output("shaft_by", "-", "number of the role that decides what the driveshaft does; -1 none"),
)
"""Every output, in the order of the columns."""

OUTPUT_INDEX: dict[str, int] = {one.name: number for number, one in enumerate(OUTPUTS)}
"""Column of an output by its name."""

FEED_FORWARD_ROLES = ("pre_engage_torque", "cruise_base_torque", "hill_torque")
SLIP_ROLES = ("slip_gain", "slip_integral_gain", "slip_integral_release")
DEMAND_ROLES = (*FEED_FORWARD_ROLES, *SLIP_ROLES, "yaw_error_torque")
"""Roles that ask for torque."""

SHAFT_ROLES = (
    "disconnect_speed",
    "disconnect_delay",
    "disconnect_allowed",
    "low_grip_memory",
    "reconnect_speed",
    "reconnect_pedal",
    "reconnect_lead_time",
    "sync_window",
)
"""Roles that `shaft_by` can name."""

CURRENT_ROLES = (
    "current_for_clamp_apply",
    "current_for_clamp_release",
    "holding_factor",
    "touch_point_current",
)
"""Roles that `current_by` can name."""

BESIDE: Mapping[str, str] = {
    "actuator_rate": "it says what the actuator can do, for the rules; the law does not read it",
}
"""Roles that the torque law does not read, with the reason."""

_SLIP = frozenset({*SLIP_ROLES, "slip_target", "slip_dead_band", "expected_axle_difference"})
_CLAMP = frozenset({"clamp_limit_plate", "clamp_limit_oil", "slip_power_derate", "plate_friction"})
_HEAT = frozenset({"plate_heat_capacity", "plate_cooling"})


def _but(roles: frozenset[str], role: str) -> frozenset[str]:
    return roles - {role}


PARTNERS: Mapping[str, frozenset[str]] = {
    "pre_engage_torque": frozenset({"pre_engage_fade"}),
    "cruise_base_torque": frozenset({"ambient_factor", "wiper_factor"}),
    "hill_torque": frozenset(),
    **{role: _but(_SLIP, role) for role in SLIP_ROLES},
    "yaw_error_torque": frozenset({"yaw_dead_band"}),
    "steering_limit": frozenset(),
    "lateral_limit": frozenset(),
    **{role: _but(_CLAMP, role) | _HEAT for role in sorted(_CLAMP)},
    "current_for_clamp_apply": frozenset({"plate_friction"}),
    "brake_control_torque": frozenset(),
    "clutch_during_inside_brake": frozenset({"inside_rear_brake"}),
    "torque_rise_slew": frozenset({"controller_tick"}),
    "torque_fall_slew": frozenset({"controller_tick"}),
    "spin_up_torque": frozenset(),
    "disconnect_speed": frozenset(SHAFT_ROLES) - {"disconnect_speed"},
}
"""Which roles take part in a decision, for every role that `governing` can name.

`Run.decided` adds what a tick's branch and driveshaft say.
"""
