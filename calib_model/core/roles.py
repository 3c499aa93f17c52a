"""The published list of roles: parts of the controller and the input quantities it reads.

A table's `role` says which part of the controller it plays; an axis's `quantity` says which
input it reads.  Replay and simulation find tables and inputs by these names, never by ids.
The lists are common practice of the trade, no source.
"""

from __future__ import annotations

QUANTITIES: dict[str, str] = {
    "ambient_temperature": "degC",
    "pedal": "%",
    "vehicle_speed": "km/h",
    "wiper_state": "-",
    "brake_state": "-",
    "steering_angle": "deg",
    "steering_angle_abs": "deg",
    "slip_error": "km/h",
    "yaw_rate_error": "deg/s",
    "lateral_acceleration_abs": "m/s2",
    "plate_slip_speed": "rad/s",
    "plate_temperature": "degC",
    "oil_temperature": "degC",
    "motor_temperature": "degC",
    "clamp": "N",
    "slip_power": "W",
    "shaft_speed": "rad/s",
    "shaft_speed_target": "rad/s",
    "grade": "%",
}
"""Input quantities with the unit the controller uses."""

ROLES: tuple[str, ...] = (
    "pre_engage_torque",
    "pre_engage_fade",
    "cruise_base_torque",
    "ambient_factor",
    "wiper_factor",
    "low_grip_memory",
    "steering_limit",
    "expected_axle_difference",
    "slip_dead_band",
    "slip_target",
    "slip_gain",
    "slip_integral_gain",
    "slip_integral_release",
    "torque_rise_slew",
    "torque_fall_slew",
    "yaw_error_torque",
    "yaw_dead_band",
    "lateral_limit",
    "brake_control_torque",
    "plate_friction",
    "current_for_clamp_apply",
    "current_for_clamp_release",
    "touch_point_current",
    "holding_factor",
    "clamp_limit_plate",
    "clamp_limit_oil",
    "slip_power_derate",
    "plate_cooling",
    "disconnect_speed",
    "reconnect_speed",
    "reconnect_pedal",
    "disconnect_delay",
    "spin_up_torque",
    "sync_window",
    "inside_rear_brake",
    "clutch_during_inside_brake",
    "hill_torque",
    "plate_heat_capacity",
    "controller_tick",
    "reconnect_lead_time",
    "actuator_rate",
    "disconnect_allowed",
)
"""Parts of the controller that a table may play."""
