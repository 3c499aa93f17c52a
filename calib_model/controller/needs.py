"""Which inputs and which other tables a role needs to take part in the torque law."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from calib_model.controller.outputs import BESIDE
from calib_model.core.table import Table

ROLE_UNITS: Mapping[str, str] = {
    "pre_engage_torque": "N.m",
    "pre_engage_fade": "-",
    "cruise_base_torque": "N.m",
    "ambient_factor": "-",
    "wiper_factor": "-",
    "low_grip_memory": "s",
    "steering_limit": "N.m",
    "expected_axle_difference": "rad/s",
    "slip_dead_band": "km/h",
    "slip_target": "km/h",
    "slip_gain": "N.m/(km/h)",
    "slip_integral_gain": "N.m/(km/h.s)",
    "slip_integral_release": "N.m/s",
    "torque_rise_slew": "N.m/s",
    "torque_fall_slew": "N.m/s",
    "yaw_error_torque": "N.m",
    "yaw_dead_band": "deg/s",
    "lateral_limit": "N.m",
    "brake_control_torque": "N.m",
    "plate_friction": "-",
    "current_for_clamp_apply": "A",
    "current_for_clamp_release": "A",
    "touch_point_current": "A",
    "holding_factor": "-",
    "clamp_limit_plate": "N",
    "clamp_limit_oil": "N",
    "slip_power_derate": "-",
    "plate_cooling": "W/K",
    "disconnect_speed": "km/h",
    "reconnect_speed": "km/h",
    "reconnect_pedal": "%",
    "disconnect_delay": "s",
    "spin_up_torque": "N.m",
    "sync_window": "rad/s",
    "inside_rear_brake": "N.m",
    "clutch_during_inside_brake": "N.m",
    "hill_torque": "N.m",
    "plate_heat_capacity": "J/K",
    "controller_tick": "ms",
    "reconnect_lead_time": "ms",
    "actuator_rate": "N/s",
    "disconnect_allowed": "0/1",
}
"""Unit in which the law reads the table of a role."""

SOURCES: Mapping[str, tuple[str, ...]] = {
    "steering_angle_abs": ("steering_angle",),
    "lateral_acceleration_abs": ("lateral_acceleration",),
    "yaw_rate_error": ("yaw_rate", "steering_angle", "vehicle_speed"),
    "front_slip": ("axle_speed_difference",),
    "plate_slip_speed": ("axle_speed_difference",),
    "slip_power": ("plate_slip_speed",),
    "shaft_speed_target": ("vehicle_speed", "axle_speed_difference"),
    "plate_temperature": ("oil_temperature", "slip_power"),
    "slip_error": ("front_slip",),
    "clamp": (),
}
"""What the law works an input out from where it is not given."""

ALWAYS_COMPUTED = frozenset({"slip_error", "clamp"})
"""Inputs that the law works out in any case."""

ESTIMATE_ROLES = ("plate_heat_capacity", "plate_cooling")
"""Tables that the estimate of the plate temperature needs."""

_SLIP = ("slip_gain", "slip_target")
_SHAFT = ("disconnect_speed", "reconnect_speed", "disconnect_allowed")

_INPUTS: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(
        (*_SLIP, "slip_dead_band", "slip_integral_gain", "slip_integral_release"), ("front_slip",)
    ),
    "low_grip_memory": ("front_slip",),
    "expected_axle_difference": ("axle_speed_difference",),
    "yaw_dead_band": ("yaw_rate_error",),
    "brake_control_torque": ("brake_state",),
    "inside_rear_brake": ("inside_brake_request",),
    "clutch_during_inside_brake": ("inside_brake_request",),
    "disconnect_speed": ("vehicle_speed",),
    "reconnect_speed": ("vehicle_speed",),
    "reconnect_pedal": ("pedal",),
    "sync_window": ("shaft_speed", "shaft_speed_target", "shaft_synchronised"),
}
"""Inputs of a role beside those its table's axes read."""

_ROLES: Mapping[str, tuple[str, ...]] = {
    "pre_engage_fade": ("pre_engage_torque",),
    "ambient_factor": ("cruise_base_torque",),
    "wiper_factor": ("cruise_base_torque",),
    "slip_gain": ("slip_target",),
    "slip_target": ("slip_gain",),
    "slip_dead_band": _SLIP,
    "slip_integral_gain": _SLIP,
    "slip_integral_release": _SLIP,
    "yaw_dead_band": ("yaw_error_torque",),
    "low_grip_memory": (*_SLIP, *_SHAFT),
    "current_for_clamp_release": ("current_for_clamp_apply",),
    "holding_factor": ("current_for_clamp_apply",),
    "touch_point_current": ("current_for_clamp_apply",),
    **{role: tuple(r for r in _SHAFT if r != role) for role in _SHAFT},
    "reconnect_pedal": _SHAFT,
    "disconnect_delay": _SHAFT,
    "spin_up_torque": _SHAFT,
    "sync_window": _SHAFT,
    "reconnect_lead_time": _SHAFT,
    "clutch_during_inside_brake": ("inside_rear_brake",),
}
"""Other roles without which a role has nothing to act on."""


def available_inputs(given: Collection[str], roles: Collection[str]) -> frozenset[str]:
    """Return the inputs that are given or can be worked out, with the tables of some roles."""
    there = set(given) | ALWAYS_COMPUTED
    if not _reachable("front_slip", there):
        there.discard("slip_error")
    for name in SOURCES:
        if name == "plate_temperature" and not all(r in roles for r in ESTIMATE_ROLES):
            continue
        if name not in ALWAYS_COMPUTED and _reachable(name, there):
            there.add(name)
    return frozenset(there)


def _reachable(name: str, given: Collection[str]) -> bool:
    if name in given:
        return True
    return name in SOURCES and all(_reachable(s, given) for s in SOURCES[name])


def left_out(tables: Mapping[str, Table], given: Collection[str]) -> dict[str, str]:
    """Return the roles among `tables` that can take no part, each with the reason.

    Parameters
    ----------
    tables : mapping of role to Table
        The usable ones.
    given : collection of str
        Names of the inputs that are there.
    """
    out = {role: reason for role, reason in BESIDE.items() if role in tables}
    if "front_slip" in given and "expected_axle_difference" in tables:
        out["expected_axle_difference"] = (
            "front_slip is given, with the expected difference already taken off"
        )
    # A role that goes may take others with it, and the plate temperature's estimate as well.
    while True:
        active = [role for role in tables if role not in out]
        there = available_inputs(given, active)
        found = {role: _why_not(role, tables[role], there, active) for role in active}
        new = {role: why for role, why in found.items() if why}
        if not new:
            break
        out.update(new)
    if "plate_temperature" in given:
        for role in ESTIMATE_ROLES:
            if role in tables:
                out.setdefault(role, "plate_temperature is given, so none is estimated")
    return out


def _why_not(role: str, table: Table, there: Collection[str], active: Collection[str]) -> str:
    wanted = dict.fromkeys((*(axis.quantity for axis in table.axes), *_INPUTS.get(role, ())))
    absent = [name for name in wanted if name not in there]
    if absent:
        sources = [s for name in absent for s in SOURCES.get(name, ()) if s not in there]
        hint = f", nor {' and '.join(dict.fromkeys(sources))} to work it out from"
        verb = "is" if len(absent) == 1 else "are"
        return f"{' and '.join(absent)} {verb} not there{hint if sources else ''}"
    gone = [r for r in _ROLES.get(role, ()) if r not in active]
    if gone:
        return f"{' and '.join(gone)} takes no part"
    if role == "slip_power_derate" and not {"clamp_limit_plate", "clamp_limit_oil"} & set(active):
        return "no clamp limit takes part that it could lower"
    return ""


def needed_inputs(
    tables: Mapping[str, Table], active: Collection[str], given: Collection[str]
) -> frozenset[str]:
    """Return the given inputs that must be numbers at a tick for the active roles to work."""
    wanted = [axis.quantity for role in active for axis in tables[role].axes]
    wanted += [name for role in active for name in _INPUTS.get(role, ())]
    needed: set[str] = set()
    seen: set[str] = set()
    while wanted:
        name = wanted.pop()
        if name in seen:
            continue
        seen.add(name)
        if name in given and name not in ALWAYS_COMPUTED:
            needed.add(name)
        else:
            wanted += SOURCES.get(name, ())
    # Not knowing whether the shaft is synchronised is an answer of its own.
    return frozenset(needed - {"shaft_synchronised"})
